// Package csvfolder takes a folder of CSV files, one per kind of thing or record,
// into the ledger: all of a file or nothing of it, in the order in which the
// files need each other, and every refusal named by file, line and column.
package csvfolder
