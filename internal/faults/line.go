package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"
)

// line is what came of one fault on one engine.
type line struct {
	Fault  string `json:"fault"`
	Engine string `json:"engine"`
	// Rounds is how often the fault was made; Kills how many programs ended by SIGKILL,
	// of which Backends are processes of PostgreSQL.
	Rounds   int `json:"rounds"`
	Kills    int `json:"kills"`
	Backends int `json:"postgres_processes_killed"`
	// Acknowledged are records of which it was said that they are kept, Attachments
	// besides. Unknown are records to which a reply was lost, in UnknownReplies calls, and
	// Kept those of them that were found kept when they were sent again.
	Acknowledged   int `json:"acknowledged"`
	Attachments    int `json:"attachments"`
	UnknownReplies int `json:"unknown_replies"`
	Unknown        int `json:"unknown"`
	Kept           int `json:"kept_of_these"`
	// Refused are calls to which a server said plainly that nothing was kept.
	Refused int `json:"refused"`
	Lost    int `json:"lost"`
	Doubled int `json:"doubled"`
	// Checks is how many times something was held against what must be.
	Checks int `json:"checks"`
	// Note says in a sentence what else was seen.
	Note     string   `json:"note,omitempty"`
	Problems []string `json:"problems,omitempty"`
	Seconds  float64  `json:"seconds"`

	problems problems
}

// failed says whether anything went wrong.
func (l *line) failed() bool { return l.Lost+l.Doubled+len(l.Problems) > 0 }

// takeOver adds what was wrong elsewhere.
func (l *line) takeOver(p *problems) {
	for _, text := range p.first {
		l.problems.add("%s", text)
	}
}

func printTable(out io.Writer, lines []*line) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "fault\tengine\trounds\tkills\tacknowledged\tattached\tunknown\tkept of these\trefused\tlost\tdoubled\tchecks\tproblems\ttime\t")
	for _, l := range lines {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%s\t\n", l.Fault, l.Engine, l.Rounds, l.Kills, l.Acknowledged, l.Attachments,
			l.Unknown, l.Kept, l.Refused, l.Lost, l.Doubled, l.Checks, len(l.Problems), (time.Duration(l.Seconds * float64(time.Second))).Round(time.Second))
	}
	w.Flush() //nolint:errcheck // as for every line printed
	for _, l := range lines {
		if l.Note != "" {
			fmt.Fprintf(out, "%s, %s: %s\n", l.Fault, l.Engine, l.Note)
		}
	}
	for _, l := range lines {
		for _, p := range l.Problems {
			fmt.Fprintf(out, "PROBLEM %s, %s: %s\n", l.Fault, l.Engine, p)
		}
	}
}

// writeJSON writes the lines to a file.
func writeJSON(name string, seed uint64, lines []*line) error {
	text, err := json.MarshalIndent(map[string]any{"seed": seed, "faults": lines}, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(name, append(text, '\n'), 0o644)
}
