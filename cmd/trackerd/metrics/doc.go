// Package metrics counts what the server does, in Prometheus's form, for a listener of
// its own.
package metrics
