// Package scurve draws how work added up over time, the S-curve, in plain
// characters for a terminal.
package scurve
