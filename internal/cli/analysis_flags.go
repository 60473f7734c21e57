package cli

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
)

// fromFlag makes the flag for a file of rows.
func fromFlag(f *fields, dst *string, holds string) {
	f.bind("from", "", "FILE", "a CSV file of "+holds+"; - reads standard input", func(text string) error {
		if text == "" {
			return fmt.Errorf("expected the name of a file, or -")
		}
		*dst = text
		return nil
	})
	if err := f.cmd.MarkFlagFilename("from", "csv"); err != nil {
		panic(err) // the flag does not exist: a mistake in this program
	}
}

// source gives where the rows come from.
func (a *app) source(f *fields, from string) (rowSource, error) {
	if err := f.require("from"); err != nil {
		return nil, err
	}
	return &fileSource{name: from, in: a.in}, nil
}

// groupingArg reads the word for what is compared or ranked.
func groupingArg(typed string) (analysis.Grouping, error) {
	g, err := analysis.Groupings.Parse(typed)
	if err != nil {
		return 0, usage("GROUPING: %v", err)
	}
	return g, nil
}

// completeGroupings completes the first argument.
func completeGroupings(cmd *cobra.Command) {
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) == 0 {
			return analysis.Groupings.All(), cobra.ShellCompDirectiveNoFileComp
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
}

// groupingsFlag makes a flag of groupings, each once.
func groupingsFlag(f *fields, dst *[]analysis.Grouping, name, help string, more ...string) {
	all := append(analysis.Groupings.All(), more...)
	f.words(name, "", help, all, func(word string) error {
		if slices.Contains(more, word) {
			return nil
		}
		g, err := analysis.Groupings.Parse(word)
		if err == nil && !slices.Contains(*dst, g) {
			*dst = append(*dst, g)
		}
		return err
	})
}

// confidenceFlag makes the flag for the confidence of two-sided intervals.
func confidenceFlag(f *fields, dst *float64) {
	shareFlag(f, dst, "confidence", "two-sided confidence of the intervals, above 0 and below 1; 0.95 when not given")
}

// shareFlag makes a flag for a number above 0 and below 1.
func shareFlag(f *fields, dst *float64, name, help string) {
	f.bind(name, "", "NUMBER", help, func(text string) error {
		v, problem := csvfile.ParseNumber(text)
		if problem == "" && !(v > 0 && v < 1) {
			problem = fmt.Sprintf("expected a number above 0 and below 1, got %s", text)
		}
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		*dst = v
		return nil
	})
}

// aboveZeroFlag makes a flag for a number above 0.
func aboveZeroFlag(f *fields, dst *float64, name, help string) {
	f.bind(name, "", "NUMBER", help, func(text string) error {
		v, problem := csvfile.ParseNumber(text)
		if problem == "" && v <= 0 {
			problem = fmt.Sprintf("expected a number above 0, got %s", text)
		}
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		*dst = v
		return nil
	})
}

// rateFlag makes a flag for a rate, such as 10/1000 or 0.01.
func rateFlag(f *fields, dst *float64, name, help string) {
	f.bind(name, "", "RATE", help+", such as 10/1000 or 0.01", func(text string) error {
		v, err := parseRate(text)
		if err == nil {
			*dst = v
		}
		return err
	})
}

// parseRate reads a number, or one of how many.
func parseRate(text string) (float64, error) {
	count, of, parted := strings.Cut(text, "/")
	v, problem := csvfile.ParseNumber(strings.TrimSpace(count))
	if problem == "" && parted {
		var size float64
		if size, problem = csvfile.ParseNumber(strings.TrimSpace(of)); problem == "" {
			v /= max(size, 0) // two minus signs make no rate
		}
	}
	if problem != "" || !(v > 0) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("expected a rate above 0 such as 10/1000 or 0.01, got %s", csvfile.Quote(text))
	}
	return v, nil
}

// byNameFlag makes the flag without which nobody is set beside others by name.
func byNameFlag(f *fields, dst *bool) {
	f.boolean(dst, "by-name", "", "set people beside each other by name")
}

// checkByName refuses to set people beside each other unless that was asked for.
func checkByName(byName bool, groupings ...analysis.Grouping) error {
	if byName || !slices.Contains(groupings, analysis.ByPerson) {
		return nil
	}
	return usage("people are not set beside each other by name unless --by-name is given: " +
		"who worked with which lot, tool and weather was not left to chance, a rate blames a person for these, " +
		"and people who are ranked by failures tend to report fewer of them")
}

// threeDigits writes a number for a person: three digits that count, no exponent where a
// person would not use one.
func threeDigits(v float64) string {
	switch a := math.Abs(v); {
	case a == 0:
		return "0"
	case a >= 1e9 || a < 1e-4:
		return strconv.FormatFloat(v, 'g', 3, 64)
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	default:
		return strconv.FormatFloat(v, 'f', max(0, min(6, 2-int(math.Floor(math.Log10(a))))), 64)
	}
}

// ratioText writes a ratio. One that is not 1 is never written as 1, for on which side
// of 1 a limit lies is what a reader looks for.
func ratioText(v float64) string {
	if v == 0 {
		return "0"
	}
	if math.Abs(v-1) < 1e-12 {
		return "1.00" // what differs is rounding
	}
	if v < 1e-4 || v >= 1e5 {
		return strconv.FormatFloat(v, 'g', 2, 64)
	}
	places := 2
	switch {
	case v < 0.1:
		places = 1 - int(math.Floor(math.Log10(v)))
	case v >= 99.95:
		places = 0
	case v >= 9.995:
		places = 1
	}
	for ; places < 12; places++ {
		text := strconv.FormatFloat(v, 'f', places, 64)
		if read, err := strconv.ParseFloat(text, 64); err != nil || read != 1 || v == 1 {
			return text
		}
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}
