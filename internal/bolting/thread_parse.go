package bolting

import (
	"fmt"
	"math"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"sync"
)

// UnknownThreadError reports a designation that names no thread of the tables.
type UnknownThreadError struct {
	Text    string
	Hint    string   // what is wrong with it, when that can be told
	Nearest []string // canonical designations, nearest first; never empty
}

// Error names the nearest threads.
func (e *UnknownThreadError) Error() string {
	text := fmt.Sprintf("no thread %q in the tables", e.Text)
	if e.Hint != "" {
		text += ": " + e.Hint
	}
	return text + "; nearest: " + strings.Join(e.Nearest, ", ")
}

// nearestShown is how many neighbours an UnknownThreadError names.
const nearestShown = 3

// largestPitch bounds what the second number of a metric designation can mean:
// no ISO general-purpose pitch is larger, and no bolt is shorter.
const largestPitch = 8.0

var (
	metricPattern = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^M(\d{1,3}(?:\.\d{1,4})?)(?:[X×*](\d{1,3}(?:\.\d{1,4})?))?(?:-\d[EFGH](?:\d[EFGH])?)?$`)
	})
	inchPattern = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^(?:(?:(\d{1,2})[- ])?(\d{1,2})/(\d{1,2})|(\d{0,2}\.\d{1,5})|(\d{1,2}))"?(?:[- ](\d{1,2}))?(?: ?(UNC))?(?:[- ]?[123][AB])?$`)
	})
)

// ParseThread reads a thread designation as people write it, without regard to
// case, spaces or a tolerance class: "M12", "m12 x 1.75", "M12×1.25-6g",
// "1/2-13", "1/2 UNC", "1-1/8-7 UNC-2A", ".500-13". A metric size alone means
// the coarse pitch (ISO 261); an inch size needs its threads per inch or the
// word UNC, because 1/2 alone may be coarse or fine. Everything else gives an
// *UnknownThreadError that names the nearest threads.
func ParseThread(text string) (Thread, error) {
	folded := strings.ToUpper(strings.Join(strings.Fields(text), " "))
	folded = strings.ReplaceAll(strings.ReplaceAll(folded, " -", "-"), "- ", "-")
	if compact := strings.ReplaceAll(folded, " ", ""); strings.HasPrefix(compact, "M") {
		return parseMetric(text, compact)
	}
	if m := inchPattern().FindStringSubmatch(folded); m != nil {
		return parseInch(text, m)
	}
	return Thread{}, unknownByText(text, folded)
}

func parseMetric(text, compact string) (Thread, error) {
	m := metricPattern().FindStringSubmatch(compact)
	if m == nil {
		return Thread{}, unknownByText(text, compact)
	}
	nominal, pitch := decimal(m[1]), decimal(m[2])
	for _, t := range threads() {
		if t.System() != Metric || !sameMetric(t.Nominal, nominal) {
			continue
		}
		if m[2] == "" && t.Series == MetricCoarse || m[2] != "" && sameMetric(t.Pitch, pitch) {
			return t, nil
		}
	}
	hint := ""
	if pitch > largestPitch {
		hint = fmt.Sprintf("%s is no pitch but looks like a length", m[2])
	}
	return Thread{}, &UnknownThreadError{Text: text, Hint: hint, Nearest: nearestBySize(Metric, nominal, pitch)}
}

func parseInch(text string, m []string) (Thread, error) {
	size, ok := inchSize(m[1:6])
	if !ok {
		return Thread{}, unknownByText(text, text)
	}
	tpi := decimal(m[6])
	if tpi == 0 && m[7] == "" {
		return Thread{}, &UnknownThreadError{
			Text: text, Hint: "the threads per inch or the word UNC are missing",
			Nearest: nearestBySize(Inch, size*millimetresPerInch, 0),
		}
	}
	pitch := 0.0
	if tpi > 0 {
		pitch = millimetresPerInch / tpi
	}
	for _, t := range threads() {
		if t.System() == Inch && sameInch(t.Nominal, size*millimetresPerInch) && (pitch == 0 || sameInch(t.Pitch, pitch)) {
			return t, nil
		}
	}
	return Thread{}, &UnknownThreadError{Text: text, Nearest: nearestBySize(Inch, size*millimetresPerInch, pitch)}
}

// inchSize reads whole inches, numerator, denominator, decimal inches and whole
// inches alone; it is false for a size that cannot be.
func inchSize(parts []string) (float64, bool) {
	whole, numerator, denominator := decimal(parts[0]), decimal(parts[1]), decimal(parts[2])
	switch {
	case parts[1] != "":
		if numerator == 0 || denominator == 0 || (parts[0] != "" && numerator >= denominator) {
			return 0, false
		}
		return whole + numerator/denominator, true
	case parts[3] != "":
		size := decimal(parts[3])
		return size, size > 0
	default:
		size := decimal(parts[4])
		return size, size > 0
	}
}

// decimal reads digits that a pattern has already admitted; "" is 0.
func decimal(digits string) float64 {
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return 0
	}
	return v
}

// sameMetric compares two numbers written in millimetres.
func sameMetric(a Millimetres, b float64) bool { return math.Abs(float64(a)-b) < 1e-6 }

// sameInch compares lengths in mm that were written in inches: decimal inches
// are rounded to a thousandth, 0.313 for 5/16.
func sameInch(a Millimetres, b float64) bool { return math.Abs(float64(a)-b) < 0.02 }

// nearestBySize ranks the threads of a system by diameter, then by pitch; a
// pitch of 0 prefers none.
func nearestBySize(system System, nominal, pitch float64) []string {
	return nearest(func(t Thread) float64 {
		if t.System() != system {
			return math.Inf(1)
		}
		distance := math.Abs(float64(t.Nominal) - nominal)
		if pitch > 0 && pitch <= largestPitch {
			return distance + 0.1*math.Abs(float64(t.Pitch)-pitch)
		}
		return distance
	})
}

// unknownByText serves a text that is no designation at all: the nearest by
// spelling.
func unknownByText(text, folded string) *UnknownThreadError {
	// A long text is compared by its beginning only; the rest cannot change
	// which short designation it is nearest to.
	letters := []rune(folded)
	if len(letters) > 40 {
		letters = letters[:40]
	}
	return &UnknownThreadError{
		Text: text,
		Hint: "write it like M12, M12x1.25 or 1/2-13 UNC",
		Nearest: nearest(func(t Thread) float64 {
			long := strings.ToUpper(t.Designation)
			short := strings.TrimSuffix(long, " "+string(UNC))
			return float64(min(editDistance(letters, []rune(long)), editDistance(letters, []rune(short))))
		}),
	}
}

func nearest(distance func(Thread) float64) []string {
	ranked := Threads()
	sort.SliceStable(ranked, func(i, j int) bool { return distance(ranked[i]) < distance(ranked[j]) })
	names := make([]string, nearestShown)
	for i := range names {
		names[i] = ranked[i].Designation
	}
	return names
}

// editDistance counts the insertions, deletions and replacements between two
// texts (Levenshtein 1966).
func editDistance(a, b []rune) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range a {
		diagonal := row[0]
		row[0] = i + 1
		for j := range b {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
