// Package sampling says how many of a lot to inspect and what a result proves:
// single sampling plans of MIL-STD-105E for normal inspection, plans that accept
// on zero, the customary sample of a bolted joint, and the operating
// characteristic of any of them.
//
// A sample is a weak witness. The package therefore gives the probability with
// every plan: of accepting a bad lot, or of finding what is there to be found.
package sampling
