package label

import (
	"errors"
	"fmt"
	"strings"
)

// Separator parts a name from its check character: `RVB/CT2/C3/J014+K`. No name
// may hold it, every keyboard has it (the numeric pad too), no shell gives it a
// meaning, and it is in the alphanumeric set of QR codes (ISO/IEC 18004), so that
// a code in capitals makes a small symbol.
//
// Twice the separator says that the letter case of the name matters: it has small
// letters, as a lot number or serial may. A code with one separator is in capitals
// and may be typed in any case.
const Separator = "+"

// expansions stand for the characters of names that the standard's alphabet lacks.
// They are chosen so that the check character changes whenever one of them is
// left out, doubled, or taken for another: no state of the check is left as it
// was by a pair, and the pairs differ in one character only.
var expansions = map[rune]string{'/': "X3", '-': "X6", '.': "XD", '_': "XG"}

// smallLetter comes before the capital that stands for a small letter; it is the
// one character that leaves no state of the check as it was.
const smallLetter = "0"

// longestName is the most that is read as a name: a joint's place with its three
// strokes needs 83 characters, a lot number 64.
const longestName = 100

// Code gives the code of a name: the name, the separator and the check character
// over the whole of the name, its punctuation included. An error names a character
// that no name may have.
func Code(name string) (string, error) {
	check, err := checkName(name)
	if err != nil {
		return "", err
	}
	return name + separatorOf(name) + string(check), nil
}

func separatorOf(name string) string {
	if name != capitals(name) {
		return Separator + Separator
	}
	return Separator
}

// capitals turns small letters into capitals; other alphabets are left alone, for
// their letters are in no name.
func capitals(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, text)
}

// checkName gives the check character of a name.
func checkName(name string) (byte, error) {
	if name == "" || len(name) > longestName {
		return 0, &Error{Text: name, Problem: fmt.Sprintf("expected a name of 1 to %d characters before %q", longestName, Separator)}
	}
	var b strings.Builder
	for _, r := range name {
		switch pair, known := expansions[r]; {
		case known:
			b.WriteString(pair)
		case r >= 'a' && r <= 'z':
			b.WriteString(smallLetter)
			b.WriteRune(r - 'a' + 'A')
		case r >= '0' && r <= '9' || r >= 'A' && r <= 'Z':
			b.WriteRune(r)
		default:
			return 0, &Error{Text: name, Problem: fmt.Sprintf("expected letters, digits and / - . _ before %q, got %q", Separator, r)}
		}
	}
	return Check(b.String())
}

// Error reports a text that is not the code on a label.
type Error struct {
	Text    string // as it was typed
	Problem string // what was expected, and what came
	// Nearest is the code that it would be if a letter stood for the digit that it
	// looks like; empty when there is no such code or more than one.
	Nearest string
}

// Error says what was expected in one sentence.
func (e *Error) Error() string {
	text := fmt.Sprintf("%q is not the code of a label: %s", e.Text, e.Problem)
	if e.Nearest != "" {
		text += "; did you mean " + e.Nearest + "?"
	}
	return text
}

// Coded tells whether a text claims to be a code: whether it holds the separator,
// which no name does.
func Coded(text string) bool { return strings.Contains(text, Separator) }

// Parse reads the code of a label, checks its check character and gives the name
// without it. A code with one separator may be typed in any letter case. It fails
// with an *Error that says what was expected; a text without a separator is one.
func Parse(text string) (name string, err error) {
	trimmed := strings.TrimSpace(text)
	typed, rest, found := strings.Cut(trimmed, Separator)
	if !found {
		return "", &Error{Text: text, Problem: fmt.Sprintf("expected NAME%sCHECK, such as RVB/CT2/C3/J014%[1]s%s", Separator, exampleCheck)}
	}
	got, exact := strings.CutPrefix(rest, Separator)
	if !exact {
		typed = capitals(typed)
	}
	got = capitals(got)
	want, err := checkName(typed)
	if err != nil {
		return "", withText(err, text)
	}
	if len(got) != 1 || !strings.Contains(alphabet, got) {
		return "", &Error{Text: text, Problem: fmt.Sprintf("expected one check character, a letter or digit, after %q, got %q", Separator, got)}
	}
	if exact && separatorOf(typed) == Separator {
		return "", &Error{Text: text, Problem: fmt.Sprintf("expected one %q after a name in capitals, got two", Separator)}
	}
	if got[0] != want {
		e := &Error{Text: text, Problem: fmt.Sprintf("expected the check character %c for %s, got %s: something is mistyped", want, typed, got)}
		e.Nearest = lookalike(typed, got)
		return "", e
	}
	return typed, nil
}

// exampleCheck is the check character of the example, RVB/CT2/C3/J014.
const exampleCheck = "G"

// withText puts what was typed into an error about the name in it.
func withText(err error, text string) error {
	var e *Error
	if errors.As(err, &e) {
		return &Error{Text: text, Problem: e.Problem}
	}
	return err
}

// digitFor gives the digit that a letter is taken for, or written by hand like.
var digitFor = map[byte]byte{'O': '0', 'I': '1', 'Z': '2', 'S': '5', 'G': '6', 'B': '8'}

// lookalike finds the one code from which the typed one differs by a letter that
// looks like a digit, or in its check character by a digit that looks like a
// letter; empty when there is none, or more than one.
func lookalike(name, check string) string {
	var found []string
	try := func(n string, c byte) {
		code, err := Code(n)
		if err == nil && code == n+separatorOf(n)+string(c) {
			found = append(found, code)
		}
	}
	for i := range name {
		if digit, ok := digitFor[name[i]]; ok {
			try(name[:i]+string(digit)+name[i+1:], check[0])
		}
	}
	for letter, digit := range digitFor {
		switch check[0] {
		case letter:
			try(name, digit)
		case digit:
			try(name, letter)
		}
	}
	if len(found) != 1 {
		return ""
	}
	return found[0]
}
