package label

import (
	"errors"
	"strings"
	"testing"
)

// Published check characters of ISO/IEC 7064, MOD 37,36.
func TestPublishedCheckCharacters(t *testing.T) {
	for _, tc := range []struct{ text, source string }{
		// IFPI, Global Release Identifier (GRid) handbook: A1-2425G-ABC1234002-M.
		{"A12425GABC1234002M", "GRid handbook"},
		// ISO 15706-1:2002 (ISAN), annex C: 0000-0000-C36D-002B-K with the episode
		// part, and -E with the version part 0000-0000 (ISO 15706-2:2007).
		{"00000000C36D002BK", "ISAN, episode"},
		{"00000000C36D002B00000000E", "ISAN, version"},
		// A worked example of the system in a published test set (seen there).
		{"123ABX", "worked example"},
		// From memory: strings of zeros only. P doubles modulo 37 from 36, and after
		// 36 steps is back at 36 (2 is a primitive root of 37), which gives 1.
		{strings.Repeat("0", 36) + "1", "derived by hand"},
		{"1", "the empty string: (37 − 36) mod 36"},
	} {
		text, want := tc.text[:len(tc.text)-1], tc.text[len(tc.text)-1]
		got, err := Check(text)
		if err != nil || got != want {
			t.Errorf("%s: check character of %q is %q (%v), want %q", tc.source, text, got, err, want)
		}
	}
}

func TestCheckRefusesOtherCharacters(t *testing.T) {
	for _, text := range []string{"ab", "A-B", "Ä", "A B", "\x00", "\xff"} {
		if _, err := Check(text); err == nil {
			t.Errorf("Check(%q) gave no error", text)
		}
	}
}

// What the system finds does not depend on the text, only on the state before the
// error, so all states can be gone through.
func TestWhatTheCheckFinds(t *testing.T) {
	missed, all := 0, 0
	for p := 1; p <= modulus; p++ {
		seen := map[int]bool{}
		for a := range modulus {
			seen[follow(p, a)] = true
			for b := range a {
				all++
				if follow(follow(p, a), b) == follow(follow(p, b), a) {
					missed++
				}
			}
		}
		if len(seen) != modulus {
			t.Errorf("state %d: two characters lead to one state: a single error would be missed", p)
		}
	}
	if missed != 36 || all != 22680 {
		t.Errorf("%d of %d transpositions missed; the documentation says 36 of 22680", missed, all)
	}
	for r, pair := range expansions {
		for p := 1; p <= modulus; p++ {
			if follow(follow(p, strings.IndexByte(alphabet, pair[0])), strings.IndexByte(alphabet, pair[1])) == p {
				t.Errorf("%q: leaving it out in state %d would be missed", r, p)
			}
		}
		if pair[0] != expansions['/'][0] {
			t.Errorf("%q: its pair differs from the others in more than one character", r)
		}
	}
	for p := 1; p <= modulus; p++ {
		if follow(p, strings.Index(alphabet, smallLetter)) == p {
			t.Errorf("the letter case would be missed in state %d", p)
		}
	}
}

var names = []string{"RVB", "RVB/CT2", "RVB/CT2/C3/J014", "M10-ST-2640C", "TW-RVB-03", "a.b_C-9", "x", "0", strings.Repeat("Z", 64)}

func TestCodeAndParse(t *testing.T) {
	for _, name := range names {
		code, err := Code(name)
		if err != nil {
			t.Fatal(err)
		}
		typed := []string{code, " " + code + "\n"}
		if name == strings.ToUpper(name) {
			typed = append(typed, strings.ToLower(code))
		}
		for _, text := range typed {
			if got, err := Parse(text); err != nil || got != name {
				t.Errorf("Parse(%q) = %q, %v; want %q", text, got, err, name)
			}
		}
	}
}

// Every single mistake in a letter or digit is found, and every stroke, hyphen,
// dot or underscore that is left out, doubled or taken for another.
func TestMistakesAreFound(t *testing.T) {
	const upper = alphabet
	for _, name := range names {
		code, err := Code(name)
		if err != nil {
			t.Fatal(err)
		}
		refuse := func(text, what string) {
			t.Helper()
			if got, err := Parse(text); err == nil {
				t.Errorf("%s: Parse(%q) gave %q, the code is %s", what, text, got, code)
			}
		}
		for i := range code {
			before, c, after := code[:i], code[i], code[i+1:]
			switch {
			case strings.IndexByte(upper, c) >= 0:
				for _, other := range upper {
					if byte(other) != c {
						refuse(before+string(other)+after, "wrong character")
					}
				}
			case expansions[rune(c)] != "":
				refuse(before+after, "left out")
				refuse(before+string(c)+string(c)+after, "doubled")
				for other := range expansions {
					if byte(other) != c {
						refuse(before+string(other)+after, "another mark")
					}
				}
			case c >= 'a' && c <= 'z':
				refuse(before+strings.ToUpper(string(c))+after, "letter case")
			}
		}
	}
}

func TestParseSaysWhatWasExpected(t *testing.T) {
	for text, want := range map[string]string{
		"RVB/CT2":                `expected NAME+CHECK, such as RVB/CT2/C3/J014+` + exampleCheck,
		"RVB/CT2+":               `expected one check character, a letter or digit, after "+", got ""`,
		"RVB/CT2+AB":             `got "AB"`,
		"RVB/CT2+*":              `got "*"`,
		"RVB+1+2":                `got "1+2"`,
		"+A":                     `expected a name of 1 to 100 characters before "+"`,
		"R B+A":                  `expected letters, digits and / - . _ before "+", got ' '`,
		"rıb+A":                  `got 'ı'`,
		"RÜB+A":                  `got 'Ü'`,
		"RVB/CT2/C3/J015+G":      "expected the check character ",
		"RVB/CT2/C3/J0I4+G":      "did you mean RVB/CT2/C3/J014+G?",
		"RVB/CT2/C3/J014++G":     `expected one "+" after a name in capitals, got two`,
		"RVB/CT2/C3/J014+6":      "did you mean RVB/CT2/C3/J014+G?",
		strings.Repeat("A", 101): "is not the code of a label",
	} {
		_, err := Parse(text)
		var e *Error
		if !errors.As(err, &e) || e.Text != text || !strings.Contains(err.Error(), want) {
			t.Errorf("Parse(%q): %v; want %q in it", text, err, want)
		}
	}
}

// A name that could be taken for a code can't be made into one.
func TestCodeRefuses(t *testing.T) {
	for _, name := range []string{"", "A+B", "A B", strings.Repeat("A", 101), "\xff", "A\n"} {
		if code, err := Code(name); err == nil {
			t.Errorf("Code(%q) = %q", name, code)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, name := range names {
		code, err := Code(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(code)
		f.Add(name)
	}
	f.Add("+")
	f.Add("++A")
	f.Add("a++\x80")
	f.Fuzz(func(t *testing.T, text string) {
		name, err := Parse(text)
		if err != nil {
			if name != "" {
				t.Errorf("Parse(%q) gave %q with an error", text, name)
			}
			return
		}
		code, err := Code(name)
		if err != nil {
			t.Fatalf("Parse(%q) gave %q, which has no code: %v", text, name, err)
		}
		if !strings.EqualFold(code, strings.TrimSpace(text)) {
			t.Errorf("Parse(%q) gave %q, whose code is %q", text, name, code)
		}
		if again, err := Parse(code); err != nil || again != name {
			t.Errorf("Parse(%q) = %q, %v", code, again, err)
		}
	})
}
