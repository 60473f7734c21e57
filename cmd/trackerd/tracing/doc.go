// Package tracing sends spans of calls and of the database's transactions to a
// collector, when the standard OTEL_* environment names one.
package tracing
