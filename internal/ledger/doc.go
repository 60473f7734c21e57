// Package ledger is the domain: the things that are tracked, the records of
// what happened to them, their words and rules, and the one error type. It does
// no input or output and knows neither the API nor a database.
package ledger
