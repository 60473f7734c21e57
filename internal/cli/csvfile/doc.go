// Package csvfile reads CSV files that people made (RFC 4180) a line at a time,
// in bounded memory, and says of everything that is wrong in which line and
// column it stands and what was expected.
package csvfile
