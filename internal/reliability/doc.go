// Package reliability estimates how long measuring equipment stays in tolerance
// and for how long it may go between calibrations: observed reliability at the
// end of the period, exponential and Weibull life models by maximum likelihood
// from results that only say in or out, the interval for a target reliability,
// reactive rules for adjusting intervals, and drift over successive
// calibrations.
//
// Times are in any one unit, chosen by the caller (months, cycles, hours);
// intervals come back in it. The package is pure: it reads no clock, no file and
// no network. An argument out of range gives a *stats.ArgumentError; data that
// no finite estimate fits give a *NoEstimateError that says why.
package reliability
