// Package columnar writes rows of an analysis as a Parquet file, for notebooks and
// databases.
package columnar
