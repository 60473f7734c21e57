package ledger_test

import (
	"slices"
	"testing"

	"jointledger/internal/ledger"
)

// rule is one change that makes something sound wrong, and the fields that must be
// named for it; none where the change is allowed.
type rule[T any] struct {
	what   string
	change func(*T)
	fields []string
}

// checkRules makes each change to something sound. Every field that is wrong must
// be named, in the order in which a person reads them, and no other.
func checkRules[T any](t *testing.T, sound func() T, validate func(*T) []ledger.FieldError, rules []rule[T]) {
	t.Helper()
	v := sound()
	if wrong := validate(&v); len(wrong) > 0 {
		t.Fatalf("the sound one is not: %v", wrong)
	}
	for _, r := range rules {
		v := sound()
		r.change(&v)
		var fields []string
		for _, f := range validate(&v) {
			fields = append(fields, f.Field)
			if f.Description == "" {
				t.Errorf("%s: nothing is said of %s", r.what, f.Field)
			}
		}
		if !slices.Equal(fields, r.fields) {
			t.Errorf("%s: fields %q (%v); expected %q", r.what, fields, validate(&v), r.fields)
		}
	}
}

func only(fields ...string) []string { return fields }

// badText has a text that each check of a text must refuse.
var badText = map[string]string{
	"a NUL": "a\x00b", "an escape": "\x1b[31m", "a line break": "a\nb", "a tab": "a\tb", "a delete": "a\x7f",
	"a control of the second set": "a\u0085b", "no UTF-8": "a\xffb", "half a character": "a\xe5\xa1",
}

// checkTexts puts each bad text and one that is too long into a field; a text of
// just the limit passes, counted in characters.
func checkTexts[T any](t *testing.T, sound func() T, validate func(*T) []ledger.FieldError, texts []textField[T]) {
	t.Helper()
	for _, text := range texts {
		var rules []rule[T]
		for what, bad := range badText {
			if text.lines && (what == "a line break" || what == "a tab") {
				rules = append(rules, rule[T]{text.field + ", " + what, func(v *T) { *text.of(v) = bad }, nil})
				continue
			}
			rules = append(rules, rule[T]{text.field + ", " + what, func(v *T) { *text.of(v) = bad }, only(text.field)})
		}
		long := make([]rune, text.limit)
		for i := range long {
			long[i] = '塔'
		}
		rules = append(rules,
			rule[T]{text.field + ", the most", func(v *T) { *text.of(v) = string(long) }, nil},
			rule[T]{text.field + ", one more", func(v *T) { *text.of(v) = string(long) + "x" }, only(text.field)},
			rule[T]{text.field + ", marks and emoji", func(v *T) { *text.of(v) = `'"\;%` + "\u200d🔩" }, nil})
		if text.required {
			rules = append(rules, rule[T]{text.field + ", empty", func(v *T) { *text.of(v) = "" }, only(text.field)})
		} else {
			rules = append(rules, rule[T]{text.field + ", empty", func(v *T) { *text.of(v) = "" }, nil})
		}
		checkRules(t, sound, validate, rules)
	}
}

type textField[T any] struct {
	field    string
	of       func(*T) *string
	limit    int
	required bool
	lines    bool // line breaks are allowed
}
