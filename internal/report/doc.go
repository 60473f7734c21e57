// Package report lays out what is handed over on paper or to a program: the
// hand-over record of a place and the quality report of a manager, each as a page that
// prints, and as JSON. It is pure: the caller brings everything that is said.
package report
