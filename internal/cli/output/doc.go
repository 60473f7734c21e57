// Package output writes lists for people (tables), programs (JSON) and
// spreadsheets (CSV) from one declaration of columns.
package output
