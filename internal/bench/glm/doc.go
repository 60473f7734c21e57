// Command glm times logistic regression of 100,000 rows by 20 columns side by side
// with R's glm, on the same rows in the same run, and holds the coefficients against
// one another.
//
//	go run ./internal/bench/glm                 what each took, the ratio, how far coefficients differ
//	go run ./internal/bench/glm -rows 20000
//
// R is found as Rscript on the path (Debian: apt-get install r-base-core); without it
// the command says so and times our own fit alone. The time is that of the fit: neither
// side's reading of the file counts.
package main
