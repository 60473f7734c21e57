// Package timechart draws points in the order of time with their limits, a control
// chart, in plain characters for a terminal.
package timechart
