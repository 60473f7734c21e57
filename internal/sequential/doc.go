// Package sequential watches a failure rate record by record and says when it
// has risen: cumulative sum schemes (CUSUM) for Bernoulli attempts and Poisson
// counts with the average run lengths that their thresholds buy, Wald's
// sequential probability ratio test, and the tabular CUSUM of means.
//
// # Points
//
// A CUSUM is kept in whole points (Reynolds and Stoumbos 1999): every attempt
// takes Drift points away, every failure brings Gain points, the sum never falls
// below 0, and it signals at Threshold points. The sum is that of the
// log-likelihood ratios of the two rates, divided by their common step; whole
// points make the scheme a Markov chain with finitely many states, so that its
// average run length is reckoned exactly and not by a normal approximation.
//
// # Records of several fasteners
//
// The order of fasteners within a record is not known. Gain·failures −
// Drift·attempts is added at once, which is the log-likelihood-ratio weight of a
// binomial count and the same for every order. The sum is looked at only when the
// record is complete. It is never above what fastener-by-fastener accounting in
// any order would have reached, so it signals no earlier than that would: counted
// in attempts, false alarms are no more frequent than the plan states, and a raised
// rate is found a little later. [Plan.BatchRunLength] gives both for records of one
// size.
//
// An argument outside a method's range is answered with a [*stats.ArgumentError],
// never with NaN.
package sequential
