// Package certificate keeps the TLS certificate of a listener as its files have it,
// also when they are replaced while the server runs.
package certificate
