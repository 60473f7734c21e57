// Package rangeline draws an estimate with its range on a line of plain characters, so
// that the lines of a table make a figure.
package rangeline
