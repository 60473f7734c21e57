package ledger

import (
	"fmt"
	"strings"

	"jointledger/internal/nearest"
)

// Words is a closed list of the trade's words: for each value of T, from 1, the
// word that people type and read. Value 0 means "not given" and has no word.
type Words[T ~uint8] struct {
	what  string
	names []string
	alias map[string]T
}

// NewWords makes a closed list for another package: what says in words what it
// is of, names are the words of the values from 1.
func NewWords[T ~uint8](what string, names ...string) Words[T] {
	return Words[T]{what: what, names: append([]string(nil), names...)}
}

// Name gives the word of v; empty for 0 and for values outside the list.
func (w Words[T]) Name(v T) string {
	if int(v) < 1 || int(v) > len(w.names) {
		return ""
	}
	return w.names[v-1]
}

// Known says whether v is in the list.
func (w Words[T]) Known(v T) bool { return int(v) >= 1 && int(v) <= len(w.names) }

// All gives every word, in the order of the values.
func (w Words[T]) All() []string { return append([]string(nil), w.names...) }

// What says in words what the list is of, such as "thread treatment".
func (w Words[T]) What() string { return w.what }

// Parse reads a word; letter case is ignored and a space or underscore reads as
// a hyphen. The error names the word, the nearest one, and all that are allowed.
func (w Words[T]) Parse(word string) (T, error) {
	folded := strings.Map(func(r rune) rune {
		if r == ' ' || r == '_' {
			return '-'
		}
		return r
	}, strings.ToLower(strings.TrimSpace(word)))
	for i, n := range w.names {
		if n == folded {
			return T(i + 1), nil
		}
	}
	if v, ok := w.alias[folded]; ok {
		return v, nil
	}
	hint := ""
	if n, ok := nearest.Name(folded, w.names); ok {
		hint = fmt.Sprintf(" (did you mean %s?)", n)
	}
	article := "a"
	if strings.ContainsRune("aeiou", rune(w.what[0])) {
		article = "an"
	}
	return 0, fmt.Errorf("%q is not %s %s%s; expected one of %s", word, article, w.what, hint, strings.Join(w.names, ", "))
}
