// Package wire turns messages of the API into things, records and findings of the
// domain, and those into messages.
package wire
