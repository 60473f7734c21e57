package main

import (
	"bytes"
	"errors"
	"fmt"
	"os/exec"
	"strconv"
	"strings"
)

// errNoR says that there is nothing to compare with.
var errNoR = errors.New("no Rscript on this machine: nothing to set our time against; on Debian, apt-get install r-base-core")

// answerOfR is what R's glm took and found.
type answerOfR struct {
	seconds      float64
	coefficients []float64
	version      string
}

// script fits with R's glm as often as we do and prints the median time and the
// coefficients with all digits. epsilon is made small, so that R goes on to where
// coefficients of two programs can be compared: its usual stop leaves them a little
// apart. The timed fits use R's own default.
const script = `
file <- commandArgs(trailingOnly = TRUE)[1]
rounds <- as.integer(commandArgs(trailingOnly = TRUE)[2])
d <- read.csv(file)
taken <- replicate(rounds, { gc(); system.time(glm(y ~ ., family = binomial, data = d))["elapsed"] })
m <- glm(y ~ ., family = binomial, data = d, epsilon = 1e-14)
cat("seconds", format(median(taken), digits = 15), "\n")
cat("version", R.version.string, "\n")
for (b in coef(m)) cat("coefficient", format(b, digits = 17), "\n")
`

func askR(file string) (answerOfR, error) {
	path, err := exec.LookPath("Rscript")
	if err != nil {
		return answerOfR{}, errNoR
	}
	var said bytes.Buffer
	cmd := exec.Command(path, "-e", script, file, strconv.Itoa(rounds))
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return answerOfR{}, fmt.Errorf("fit by R: %w: %s", err, strings.TrimSpace(said.String()))
	}
	return readAnswer(string(out))
}

// readAnswer reads what the script printed.
func readAnswer(text string) (a answerOfR, err error) {
	for line := range strings.Lines(text) {
		what, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		switch what {
		case "version":
			a.version = value
		case "seconds":
			if a.seconds, err = strconv.ParseFloat(value, 64); err != nil {
				return a, fmt.Errorf("time of R: expected a number, got %q", value)
			}
		case "coefficient":
			b, err := strconv.ParseFloat(value, 64)
			if err != nil {
				return a, fmt.Errorf("coefficient of R: expected a number, got %q", value)
			}
			a.coefficients = append(a.coefficients, b)
		}
	}
	if !(a.seconds > 0) || len(a.coefficients) == 0 {
		return a, fmt.Errorf("answer of R: expected a time and coefficients, got %q", text)
	}
	return a, nil
}
