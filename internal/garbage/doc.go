// Package garbage says how far Go's heap may grow in a server before it is collected.
package garbage
