// Package stats holds statistical methods over plain numbers: intervals for a
// proportion and for a Poisson rate, exact tests on tables of counts, and
// p-values adjusted for the number of questions asked.
//
// # Conventions
//
// Confidence is a fraction strictly between 0 and 1, such as 0.95. A two-sided
// interval leaves (1−confidence)/2 in each tail; a one-sided bound leaves
// 1−confidence in its only tail. Counts are int64 and limited to [MaxCount].
// An argument outside a method's range is answered with an [*ArgumentError],
// never with NaN.
//
// # Numerics
//
// The normal quantile is gonum's. The incomplete beta and gamma functions and
// their inverses are this package's own, because at the corners that rates of
// rare failures reach, the library's lose digits: against 40-digit arithmetic
// its I_x(a,b) is off by 1.6e-9 relative at a = 30, b = 1e6, x = 2e-5 and by
// 6.5 % at a = 1000, b = 0.001, x = 0.999999; its P(a,x) by 1.7 % at a = 1e7
// six standard deviations below the mean; and its inverse of P returns 0 for
// a = 0.5, p = 1e-10. They rest on one idea: the point probability in Loader's
// saddle-point form (see saddle_point.go), times a continued fraction or a
// series of positive terms for the tail. The hypergeometric probabilities of
// Fisher's exact test use the same point probability.
package stats
