package sampling

import (
	"fmt"
	"strings"

	"jointledger/internal/metrology"
)

// Standard is the source of the code letters and the master table.
var Standard = metrology.Source{Title: "MIL-STD-105E", Edition: "10 May 1989", Place: "tables I and II-A", Mark: metrology.Seen}

// Single is a single sampling plan: inspect SampleSize items and accept the lot
// when at most Accept of them are nonconforming.
type Single struct {
	SampleSize int
	Accept     int
}

// Reject is the number of nonconforming items at which the lot is not accepted.
func (s Single) Reject() int { return s.Accept + 1 }

// Plan is a plan of MIL-STD-105E for a lot.
type Plan struct {
	Single
	LotSize        int
	Level          Level
	AQL            AQL
	CodeLetter     string // from the lot size and the level; empty for a lot of one
	UsedLetter     string // where the arrows lead
	FullInspection bool   // the sample is the lot
}

// UnknownLevelError reports an inspection level outside the table.
type UnknownLevelError struct {
	Text    string
	Allowed []string
}

// Error lists the levels.
func (e *UnknownLevelError) Error() string {
	return fmt.Sprintf("no inspection level %q; there are %s", e.Text, strings.Join(e.Allowed, ", "))
}

// ParseLevel reads an inspection level: "II", "ii", "S-3", "S3". It fails with
// an *UnknownLevelError.
func ParseLevel(text string) (Level, error) {
	folded := strings.ReplaceAll(strings.ToUpper(strings.TrimSpace(text)), "-", "")
	e := &UnknownLevelError{Text: text}
	for _, l := range levels {
		if strings.ReplaceAll(string(l), "-", "") == folded {
			return l, nil
		}
		e.Allowed = append(e.Allowed, string(l))
	}
	return "", e
}

// CodeLetter is the sample size code letter for a lot and a level (Table I). It
// fails with a *metrology.RangeError for a lot smaller than two, where the
// table begins, and with an *UnknownLevelError.
func CodeLetter(lotSize int, level Level) (string, error) {
	if lotSize < smallestLot {
		return "", &metrology.RangeError{Field: "lot size", Value: float64(lotSize), Allowed: "2 or more"}
	}
	for i, l := range levels {
		if l != level {
			continue
		}
		for _, r := range codeLetters {
			if lotSize <= r.upTo {
				return r.letters[i], nil
			}
		}
	}
	_, err := ParseLevel(string(level))
	if err == nil { // a spelling that ParseLevel accepts but no constant has
		err = &UnknownLevelError{Text: string(level), Allowed: levelNames()}
	}
	return "", err
}

func levelNames() []string {
	names := make([]string, len(levels))
	for i, l := range levels {
		names[i] = string(l)
	}
	return names
}

// NormalPlan is the single sampling plan for normal inspection of a lot. Where
// the master table shows an arrow, the first plan in its direction is used with
// its own sample size. A sample that would be the lot or more means that every
// item is inspected; so does a lot of one, which the table does not know. It
// fails with a *metrology.RangeError for a lot below one, with an
// *UnknownLevelError, and with an *UnknownAQLError.
func NormalPlan(lotSize int, level Level, aql AQL) (Plan, error) {
	if lotSize < 1 {
		return Plan{}, &metrology.RangeError{Field: "lot size", Value: float64(lotSize), Allowed: "1 or more"}
	}
	letter, err := CodeLetter(max(lotSize, smallestLot), level)
	if err != nil {
		return Plan{}, err
	}
	single, used, err := PlanForLetter(letter, aql)
	if err != nil {
		return Plan{}, err
	}
	p := Plan{Single: single, LotSize: lotSize, Level: level, AQL: aql, CodeLetter: letter, UsedLetter: used}
	if lotSize < smallestLot {
		p.CodeLetter, p.UsedLetter = "", ""
	}
	if p.SampleSize >= lotSize {
		p.SampleSize, p.FullInspection = lotSize, true
	}
	return p, nil
}

// UnknownLetterError reports a code letter outside the table.
type UnknownLetterError struct{ Letter string }

// Error says which letters there are.
func (e *UnknownLetterError) Error() string {
	return fmt.Sprintf("no sample size code letter %q; there are A to R without I and O", e.Letter)
}

// PlanForLetter follows the arrows of the master table from a code letter and an
// AQL and returns the plan with the letter it belongs to. It fails with an
// *UnknownLetterError or an *UnknownAQLError.
func PlanForLetter(letter string, aql AQL) (Single, string, error) {
	column, err := aql.column()
	if err != nil {
		return Single{}, "", err
	}
	for row := range masterTable {
		if masterTable[row].letter == letter {
			used := followArrow(row, column)
			plan := masterTable[used]
			return Single{SampleSize: plan.size, Accept: int(plan.cells[column])}, plan.letter, nil
		}
	}
	return Single{}, "", &UnknownLetterError{Letter: letter}
}

// followArrow gives the row of the first plan in the direction of the arrow, or
// the row itself when it holds a plan. Every arrow of the table leads to a plan.
func followArrow(row, column int) int {
	step := 0
	switch masterTable[row].cells[column] {
	case dn:
		step = 1
	case up:
		step = -1
	}
	for masterTable[row].cells[column] < 0 {
		row += step
	}
	return row
}
