// Package cli is trackctl: its commands, what they print and the codes they exit
// with. It speaks to the server through the API only.
package cli
