package cli

import (
	"slices"
	"strings"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// scope is which records of the server a question is about.
type scope struct {
	f            *fields
	kinds        []pb.IncidentKind
	filters      []*pb.GroupValue
	since, until string
	// flags are those of the scope.
	flags []string
}

// newScope makes the flags. by are the groupings that can be chosen from; kinds
// besides makes the flag for the incidents that count.
func newScope(f *fields, kinds bool, by ...string) *scope {
	s := &scope{f: f}
	if kinds {
		f.words("kind", "kinds", "on the server: kinds of incident that count, all thread failures when not given", ledger.IncidentKinds.All(), s.kind)
		s.flags = append(s.flags, "kind")
	}
	for i, name := range groupings {
		if !slices.Contains(by, name) {
			continue
		}
		// Without a path: which of the flags a refused filter came from can't be told.
		f.bind(name, "", "VALUE", "on the server: only this "+strings.ReplaceAll(name, "-", " ")+"; again for another", func(typed string) error {
			value, err := filterValue(pb.Grouping(i+1), typed)
			if err == nil {
				s.filters = append(s.filters, &pb.GroupValue{Grouping: pb.Grouping(i + 1), Value: value})
			}
			return err
		})
		s.flags = append(s.flags, name)
	}
	f.day(&s.since, "since", "start_date", "on the server: first day that counts, at the site")
	f.day(&s.until, "until", "end_date", "on the server: last day that counts, at the site")
	s.flags = append(s.flags, "since", "until")
	return s
}

// scopeGroupings are the groupings that most questions can be narrowed by. A person
// is none: that would be a question about one.
func scopeGroupings() []string {
	return []string{"site", "region", "lot", "supplier", "treatment", "material", "thread", "driving-method", "tool"}
}

func (s *scope) kind(word string) error {
	kind, err := ledger.IncidentKinds.Parse(word)
	if err == nil && !slices.Contains(s.kinds, pb.IncidentKind(kind)) {
		s.kinds = append(s.kinds, pb.IncidentKind(kind))
	}
	return err
}

// also adds flags that only the server knows of.
func (s *scope) also(flags ...string) { s.flags = append(s.flags, flags...) }

// noFile refuses flags that choose among the server's records where the rows are
// those of a file.
func (s *scope) noFile() error {
	for _, flag := range s.flags {
		if s.f.isGiven(flag) {
			return usage("--%s chooses among the records of the server; with --from, choose the rows of the file", flag)
		}
	}
	return nil
}
