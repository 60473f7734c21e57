package shift

import (
	"fmt"
	"slices"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// said is what the mode says of the last thing done.
type said struct {
	lines []spoken
	// findings says that there are findings among the lines.
	findings bool
}

// spoken is one sentence; mark is the word it starts with and is emphasised by,
// about is what stands in brackets behind it where there is room.
type spoken struct {
	mark, words, about string
	severity           rules.Severity
}

// say replaces what is said by a sentence.
func (m *Model) say(format string, args ...any) {
	m.said = said{lines: []spoken{{words: fmt.Sprintf(format, args...)}}}
}

// warn replaces what is said by a sentence that stands out.
func (m *Model) warn(mark, format string, args ...any) {
	m.said = said{lines: []spoken{{mark: mark, words: fmt.Sprintf(format, args...), severity: rules.Hold}}}
}

// findingLines are findings on an entry at a joint in full words, the most severe
// first, with what a hold among them means.
func findingLines(findings []rules.Finding, at ledger.Place) []spoken {
	sorted := slices.Clone(findings)
	slices.SortStableFunc(sorted, func(a, b rules.Finding) int { return int(b.Severity) - int(a.Severity) })
	var lines []spoken
	for i, f := range sorted {
		about := []string{f.Rule}
		if f.Limit != nil {
			about = append(about, strings.TrimSpace(fmt.Sprintf("limit %.4g %s", *f.Limit, f.Unit)))
		}
		if f.Source != "" {
			about = append(about, "source: "+f.Source)
		}
		lines = append(lines, spoken{strings.ToUpper(f.Severity.String()), f.Message, strings.Join(about, "; "), f.Severity})
		if last := i+1 == len(sorted) || sorted[i+1].Severity != rules.Hold; last && f.Severity == rules.Hold {
			lines = append(lines, spoken{words: at.Joint + " is on hold until released; u undoes"})
		}
	}
	return lines
}

// render writes what is said in lines of the width, with or without what is about it.
func (s said) render(m *Model, width int, about bool) []string {
	var lines []string
	for _, one := range s.lines {
		text := one.words
		if about && one.about != "" {
			text += " (" + one.about + ")"
		}
		if one.mark != "" {
			text = one.mark + ": " + text
		}
		wrapped := m.wrap(text, width)
		if rest, ok := strings.CutPrefix(wrapped[0], one.mark); ok && one.mark != "" {
			wrapped[0] = emphasised(one.mark, one.severity) + rest
		}
		lines = append(lines, wrapped...)
	}
	return lines
}

func emphasised(mark string, severity rules.Severity) string {
	switch severity {
	case rules.Hold:
		return red(mark)
	case rules.Warn:
		return yellow(mark)
	default: // the others go on below
	}
	return bold(mark)
}

// saidLines are what is said in at most height lines; what does not fit is said to
// be there.
func (m *Model) saidLines(width, height int) []string {
	lines := m.said.render(m, width, true)
	if len(lines) > height {
		lines = m.said.render(m, width, false)
		if len(lines) < height {
			lines = append(lines, bold(m.fit("f reads limits and their sources", width)))
		}
	}
	if len(lines) <= height || height < 1 {
		return lines[:min(len(lines), max(height, 0))]
	}
	more := counted(len(lines)-height+1, "more line") + ": f reads on"
	return append(lines[:height-1:height-1], bold(m.fit(more, width)))
}

// counted writes a number with its noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
