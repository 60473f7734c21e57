// Package countfile reads the CSV files that an analysis can be asked of without a
// server: counts by grouping, a history in order of time, and spares on hand.
package countfile
