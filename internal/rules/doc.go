// Package rules judges a record by the rules of the trade: it says what was
// broken, how gravely, and by which figure against which limit.
//
// A rule never refuses a record. It reads the facts it is given and does no
// input or output, so the same code runs beside the database and, from carried
// data, where there is no signal. A fact that is missing makes a rule silent,
// except where its absence is itself the finding (a tool that nothing shows to
// be calibrated).
package rules
