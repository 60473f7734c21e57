// Package controlchart draws the limits of Shewhart charts for counts (p, np, c, u,
// with Laney's correction for over-dispersion), of charts for rare events (g and t)
// and of the exponentially weighted moving average, and says which points lie
// beyond them.
//
// # Conventions
//
// The centre is the ratio of totals, not the mean of ratios. Limits lie Width
// standard deviations beside it, 3 by default (W. A. Shewhart, Economic Control of
// Quality of Manufactured Product, 1931). A point on a limit is not beyond it. A
// limit that would lie outside the range of what is charted does not exist: no
// point can cross it. Samples may differ in size; each has its own limits. An
// argument outside a method's range is answered with a [*stats.ArgumentError], never
// with NaN.
package controlchart
