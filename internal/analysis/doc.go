// Package analysis turns questions into answers: it says what the store must
// count for a question, puts the counts through the methods of stats and
// metrology, and adds what a reader must know before acting on the result. It
// is pure over rows: it reads no clock, no file and no network.
package analysis
