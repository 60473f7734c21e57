package rules

import (
	"fmt"
	"slices"
	"strings"

	"jointledger/internal/ledger"
)

func peopleRules() []Rule {
	return []Rule{
		{
			Code: CodePersonUnqualified, Severities: []Severity{Warn}, Kinds: taskKinds(), check: checkPersonUnqualified,
			Limit:    "one qualification for the task, current to the end of its last day at the site",
			Sentence: "The person had no current qualification for the task.",
		},
		{
			Code: CodeClock, Severities: []Severity{Warn}, Kinds: allKinds(), check: checkClock,
			Limit:    "ahead by " + defaultClockAhead.text() + "; behind, for records of work on site, by " + defaultClockBehind.text(),
			Sentence: "The record's time lies in the future, or long before it was taken in without an offline mark.",
		},
	}
}

// Task says which qualification a kind of record asks of its person.
type Task struct {
	Name  string
	Kinds []ledger.RecordKind
	// Accepts are the qualifications of which one must be current.
	Accepts []string
	// OnFileOnly judges only people for whom such a qualification is on file:
	// it may lapse, but nobody is asked to have it.
	OnFileOnly bool
}

// Tasks is the one table of which qualification which record needs. Crews that
// bolt a seam also seal it, and are commonly qualified for bolting alone, so
// that counts for sealing too. Who may inspect is a matter of role on many
// sites, so an inspector needs a qualification on file only to be held to it.
func Tasks() []Task {
	return []Task{
		{Name: "bolting", Kinds: tightenings, Accepts: []string{"bolting"}},
		{Name: "sealing", Kinds: sealings, Accepts: []string{"sealing", "bolting"}},
		{Name: "inspection", Kinds: inspections, Accepts: []string{"inspection"}, OnFileOnly: true},
	}
}

var tasks = Tasks()

func taskKinds() []ledger.RecordKind {
	var kinds []ledger.RecordKind
	for _, t := range Tasks() {
		kinds = append(kinds, t.Kinds...)
	}
	return kinds
}

func checkPersonUnqualified(f *Facts) []Finding {
	id := f.Record.Head().Person
	if id == "" || f.Person == nil {
		return nil
	}
	i := slices.IndexFunc(tasks, func(t Task) bool { return slices.Contains(t.Kinds, f.Record.RecordKind()) })
	if i < 0 {
		return nil
	}
	task, today := tasks[i], f.localDay()
	lapsed, onFile := day(0), false
	for _, q := range f.Person.Qualifications {
		if !slices.ContainsFunc(task.Accepts, func(a string) bool { return strings.EqualFold(a, strings.TrimSpace(q.Task)) }) {
			continue
		}
		if q.ExpireDate == "" {
			return nil
		}
		last, ok := parseDay(q.ExpireDate)
		if ok && today <= last {
			return nil
		}
		if ok && (!onFile || last > lapsed) {
			lapsed, onFile = last, true
		}
	}
	need := strings.Join(task.Accepts, " or ")
	if !onFile {
		if task.OnFileOnly {
			return nil
		}
		return one(Finding{
			Message: fmt.Sprintf("Person %s has no qualification for %s on file.", id, need),
			Source:  "qualifications of " + id,
		})
	}
	return one(Finding{
		Message: fmt.Sprintf("Person %s had no current qualification for %s on %s: it ended on %s.", id, need, today, lapsed),
		Source:  "qualifications of " + id,
	}.against(float64(today-lapsed), 0, "d"))
}
