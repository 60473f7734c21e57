package csvfile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"
)

var testColumns = []Column{
	{Name: "site", Required: true},
	{Name: "at", Required: true},
	{Name: "torque_n_m", Required: true, Number: true},
	{Name: "fasteners", Required: true, Number: true},
	{Name: "note"},
}

// scanText reads text as a file t.csv with testColumns and gives what it
// understood of each good line, and what it found wrong.
func scanText(t *testing.T, text string) (good []string, wrong []string) {
	t.Helper()
	good, wrong, err := scanReader(strings.NewReader(text))
	if err != nil {
		t.Fatalf("scan failed: %v", err)
	}
	return good, wrong
}

func scanReader(r io.Reader) (good, wrong []string, err error) {
	var problems Problems
	err = Scan("t.csv", r, testColumns, &problems, func(row *Row) error {
		site := row.Required("site", "a site code")
		at := row.RequiredTime("at")
		torque := row.RequiredNumber("torque_n_m")
		n := row.RequiredWhole("fasteners", 1, 100000)
		if !row.Bad() {
			good = append(good, fmt.Sprintf("%d %s %s %v %d %q", row.Line, site, at.Format("2006-01-02T15:04Z07:00"), torque, n, row.Text("note")))
		}
		return nil
	})
	for _, p := range problems.Listed() {
		wrong = append(wrong, p.String())
	}
	if n := problems.Unlisted(); n > 0 {
		wrong = append(wrong, fmt.Sprintf("and %d more", n))
	}
	return good, wrong, err
}

const head = "site,at,torque_n_m,fasteners,note\n"

// The shapes that a file may have and still be understood: RFC 4180 with the
// leniencies that the import format promises.
func TestScanAccepts(t *testing.T) {
	const want = `2 RVB 2026-03-02T07:25Z 31.5 4 "a, b"`
	const row = `RVB,2026-03-02T07:25:00Z,31.5,4,"a, b"`
	for name, text := range map[string]string{
		"plain":                head + row + "\n",
		"no last line end":     head + row,
		"blank last lines":     head + row + "\n\n\n",
		"CRLF":                 strings.ReplaceAll(head+row+"\n", "\n", "\r\n"),
		"byte-order mark":      "\ufeff" + head + row + "\n",
		"mark and CRLF":        "\ufeff" + strings.ReplaceAll(head+row+"\n\n", "\n", "\r\n"),
		"other order":          "note,fasteners,torque_n_m,at,site\n\"a, b\",4,31.5,2026-03-02T07:25:00Z,RVB\n",
		"spaces around":        "site, at ,torque_n_m,fasteners,note\nRVB , 2026-03-02T07:25:00Z, 31.5,4,\"a, b\"\n",
		"row of empty cells":   head + row + "\n,,,,\n",
		"all quoted":           head + `"RVB","2026-03-02T07:25:00Z","31.5","4","a, b"` + "\n",
		"exponent in a number": head + `RVB,2026-03-02T07:25:00Z,3.15e1,4,"a, b"` + "\n",
	} {
		t.Run(name, func(t *testing.T) {
			good, wrong := scanText(t, text)
			if len(wrong) > 0 || len(good) != 1 || good[0] != want {
				t.Errorf("got %q, wrong %q; want %q", good, wrong, want)
			}
		})
	}
}

func TestScanKeepsQuotesLineBreaksAndOffsets(t *testing.T) {
	good, wrong := scanText(t, head+"RVB,2026-03-02T07:25:00-05:00,32,4,\"said \"\"no\"\"\nand left\"\nPCL,2026-03-02T07:25:00+05:30,1,1,\n")
	want := []string{
		`2 RVB 2026-03-02T07:25-05:00 32 4 "said \"no\"\nand left"`,
		`4 PCL 2026-03-02T07:25+05:30 1 1 ""`,
	}
	if len(wrong) > 0 || strings.Join(good, "|") != strings.Join(want, "|") {
		t.Errorf("got %q, wrong %q", good, wrong)
	}
}

// Every kind of bad input of the brief, with the place and the words a person
// gets. Columns count characters: é and ö before the place must count one each.
func TestScanRefuses(t *testing.T) {
	const ok = "RVB,2026-03-02T07:25:00Z,31.5,4,fine\n"
	for _, tc := range []struct{ name, text, want string }{
		{"empty file", "", "t.csv:1:1: expected a header line site,at,torque_n_m,fasteners, got an empty file"},
		{"only a mark", "\ufeff", "t.csv:1:1: expected a header line site,at,torque_n_m,fasteners, got an empty file"},
		{"mistyped column", "site,at,torque_nm,fasteners\n", `t.csv:1:9: column torque_n_m: expected a column with this name, got "torque_nm"`},
		{"missing column", "site,at,fasteners\n", `t.csv:1:1: column torque_n_m: expected this column in the header, got "site,at,fasteners"`},
		{"unknown column", "site,at,torque_n_m,fasteners,colour\n", `t.csv:1:30: column colour: expected one of the columns site, at, torque_n_m, fasteners, note, got "colour"`},
		{"unknown column, near", "site,at,torque_n_m,fasteners,notes\n", `t.csv:1:30: column notes: expected one of the columns site, at, torque_n_m, fasteners, note, got "notes"; did you mean note?`},
		{"duplicate column", "site,at,torque_n_m,fasteners,site\n", "t.csv:1:30: column site: expected each column once, got it again; it stands in field 1 too"},
		{"semicolons", "site;at;torque_n_m;fasteners\n", `t.csv:1:1: expected commas between the columns, got semicolons or tabs: "site;at;torque_n_m;fasteners"`},
		{"no header", ok, `t.csv:1:1: column RVB: expected one of the columns site, at, torque_n_m, fasteners, note, got "RVB"`},
		{"UTF-16", "\xff\xfes\x00i\x00t\x00e\x00", "t.csv:1:1: expected UTF-8, got UTF-16; save the file as CSV in UTF-8"},
		{"UTF-16 big-endian", "\xfe\xff\x00s\x00i", "t.csv:1:1: expected UTF-8, got UTF-16; save the file as CSV in UTF-8"},
		{"UTF-16 without mark", "s\x00i\x00t\x00e\x00", "t.csv:1:1: expected UTF-8, got UTF-16; save the file as CSV in UTF-8"},
		{"bad UTF-8", head + "Réf\xe9,2026-03-02T07:25:00Z,31.5,4,x\n", "t.csv:2:4: expected UTF-8, got the byte 0xE9, which isn't; save the file as CSV in UTF-8"},
		{"NUL", head + "RVB,2026-03-02T07:25:00Z,31.5,4,\x00\n", "t.csv:2:33: expected text, got a NUL character; save the file as CSV in UTF-8"},
		{"unterminated quote to the end", head + ok + "RVB,2026-03-02T07:25:00Z,31.5,4,\"oh\n" + ok, "t.csv:3:33: column note: expected a closing quote for the quote that is opened here, got none in its line"},
		{"unterminated quote to the next", head + "RVB,2026-03-02T07:25:00Z,31.5,4,\"oh\nPCL,2026-03-02T07:25:00Z,31.5,4,\"a\"\n", "t.csv:2:33: column note: expected a closing quote for the quote that is opened here, got none in its line"},
		{"bare quote", head + "RVB,2026-03-02T07:25:00Z,31.5,4,1\" bolt\n", `t.csv:2:34: expected a field with a quote in it to be quoted as a whole, its own quotes doubled (""), got a quote in the middle`},
		{"undoubled quote", head + "RVB,2026-03-02T07:25:00Z,31.5,4,\"1\" bolt\"\n", `t.csv:2:35: column note: expected quotes inside a quoted field to be doubled (""), got a single one`},
		{"too few fields", head + "RVB,2026-03-02T07:25:00Z,31.5,4\n", "t.csv:2:1: expected 5 fields, got 4"},
		{"too many fields", head + "RVB,2026-03-02T07:25:00Z,31.5,4,x,y\n", "t.csv:2:1: expected 5 fields, got 6"},
		{"decimal comma, not quoted", head + "RVB,2026-03-02T07:25:00Z,31,5,4,x\n", "t.csv:2:26: column torque_n_m: expected 5 fields, got 6; 31,5 looks like a number with a decimal comma: write 31.5"},
		{"decimal comma, quoted", head + "RVB,2026-03-02T07:25:00Z,\"31,5\",4,x\n", `t.csv:2:26: column torque_n_m: expected a number with a decimal point, got "31,5" with a comma`},
		{"thousands separator", head + "RVB,2026-03-02T07:25:00Z,\"1,031.5\",4,x\n", `t.csv:2:26: column torque_n_m: expected a number without thousands separators, got "1,031.5"`},
		{"thousands separator in a count", head + "RVB,2026-03-02T07:25:00Z,31.5,\"1,200\",x\n", `t.csv:2:31: column fasteners: expected a whole number without thousands separators, got "1,200"`},
		{"NaN", head + "RVB,2026-03-02T07:25:00Z,NaN,4,x\n", `t.csv:2:26: column torque_n_m: expected a number such as 12.5, got "NaN"`},
		{"Inf", head + "RVB,2026-03-02T07:25:00Z,-Inf,4,x\n", `t.csv:2:26: column torque_n_m: expected a number such as 12.5, got "-Inf"`},
		{"out of range", head + "RVB,2026-03-02T07:25:00Z,1e400,4,x\n", `t.csv:2:26: column torque_n_m: expected a finite number, got "1e400"`},
		{"hexadecimal", head + "RVB,2026-03-02T07:25:00Z,0x1p3,4,x\n", `t.csv:2:26: column torque_n_m: expected a number such as 12.5, got "0x1p3"`},
		{"no number", head + "RVB,2026-03-02T07:25:00Z,,4,x\n", "t.csv:2:26: column torque_n_m: expected a number such as 12.5, got nothing"},
		{"zero count", head + "RVB,2026-03-02T07:25:00Z,31.5,0,x\n", `t.csv:2:31: column fasteners: expected a whole number from 1 to 100000, got "0"`},
		{"negative count", head + "RVB,2026-03-02T07:25:00Z,31.5,-3,x\n", `t.csv:2:31: column fasteners: expected a whole number from 1 to 100000, got "-3"`},
		{"fraction of a count", head + "RVB,2026-03-02T07:25:00Z,31.5,4.5,x\n", `t.csv:2:31: column fasteners: expected a whole number, got "4.5"`},
		{"huge count", head + "RVB,2026-03-02T07:25:00Z,31.5,99999999999999999999,x\n", `t.csv:2:31: column fasteners: expected a whole number from 1 to 100000, got "99999999999999999999"`},
		{"time without zone", head + "RVB,2026-03-02T07:25:00,31.5,4,x\n", `t.csv:2:5: column at: expected a time with its zone such as 2026-03-02T07:25:00+01:00, got "2026-03-02T07:25:00"`},
		{"no such day", head + "RVB,2026-02-30T07:25:00Z,31.5,4,x\n", `t.csv:2:5: column at: expected a time with its zone such as 2026-03-02T07:25:00+01:00, got "2026-02-30T07:25:00Z"`},
		{"column counts characters", "note,site,at,torque_n_m,fasteners\nöö,RVB,2026-03-02T07:25:00Z,x,4\n", `t.csv:2:29: column torque_n_m: expected a number such as 12.5, got "x"`},
		{"line of a field after a line break", "note,site,at,torque_n_m,fasteners\n\"é\né\",RVB,2026-03-02T07:25:00Z,x,4\n", `t.csv:3:29: column torque_n_m: expected a number such as 12.5, got "x"`},
		{"lone carriage returns", "site,at,torque_n_m,fasteners\rRVB,2026-03-02T07:25:00Z,1,4\r", "t.csv:1:1: expected lines that end with LF or CRLF, got lone carriage returns"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, wrong := scanText(t, tc.text)
			if len(wrong) == 0 || wrong[0] != tc.want {
				t.Errorf("got  %q\nwant %q", wrong, tc.want)
			}
		})
	}
}

func TestScanReadsOnAfterABadLine(t *testing.T) {
	text := head + "RVB,x,31.5,0,\nRVB,2026-03-02T07:25:00Z,31.5,4,a\nRVB,2026\nRVB,2026-03-02T07:25:00Z,31.5,4,\"b\"c\nRVB,2026-03-02T07:25:00Z,31.5,4,d\n"
	good, wrong := scanText(t, text)
	if len(good) != 2 || !strings.HasPrefix(good[0], "3 ") || !strings.HasPrefix(good[1], "6 ") {
		t.Errorf("good lines %q", good)
	}
	if len(wrong) != 4 {
		t.Errorf("wrong %q", wrong)
	}
}

func TestProblemsListsTwentyAndCountsTheRest(t *testing.T) {
	_, wrong := scanText(t, head+strings.Repeat("RVB,2026-03-02T07:25:00Z,31.5,0,\n", 25))
	if len(wrong) != MaxListed+1 || wrong[MaxListed] != "and 5 more" {
		t.Errorf("got %d: %q", len(wrong), wrong[len(wrong)-1])
	}
}

// A line far over the limit must be named and must not be read into memory.
func TestScanBoundsALine(t *testing.T) {
	const size = 100 << 20
	for _, tc := range []struct {
		name string
		r    io.Reader
		want string
	}{
		{"one line", io.MultiReader(strings.NewReader(head+"RVB,2026-03-02T07:25:00Z,31.5,4,"), io.LimitReader(filler("x"), size)),
			"t.csv:2:1: expected at most 1048576 bytes in a line, got a longer one; the file was read no further"},
		{"a header", io.LimitReader(filler("site"), size),
			"t.csv:1:1: expected at most 1048576 bytes in a line, got a longer one; the file was read no further"},
		{"a header with a quote never closed", io.MultiReader(strings.NewReader("\"site,at\n"), io.LimitReader(filler("RVB,1\n"), size)),
			"t.csv:1:1: expected a closing quote for the quote that is opened here, got more than 1048576 bytes without one"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, wrong, err := scanReader(tc.r)
			runtime.ReadMemStats(&after)
			if err != nil || len(wrong) != 1 || wrong[0] != tc.want {
				t.Errorf("got %q, %v\nwant %q", wrong, err, tc.want)
			}
			if used := after.TotalAlloc - before.TotalAlloc; used > 60*MaxLine {
				t.Errorf("%d MiB were allocated for a file of %d MiB", used>>20, size>>20)
			}
		})
	}
}

// A quote that is never closed costs its own line and no other, however much
// follows, and never more memory than a longest line.
func TestScanReadsOnAfterAQuoteThatIsNeverClosed(t *testing.T) {
	const line, lines = "PCL,2026-03-02T07:25:00Z,1,1,\n", 8 * MaxLine / 30
	var problems Problems
	var most, before runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	rows, next := 0, 3
	r := io.MultiReader(strings.NewReader(head+"RVB,2026-03-02T07:25:00Z,31.5,4,\"oh\n"), io.LimitReader(filler(line), int64(len(line)*lines)))
	err := Scan("t.csv", r, testColumns, &problems, func(row *Row) error {
		if row.Line != next {
			t.Fatalf("line %d came after line %d", row.Line, next-1)
		}
		if rows++; rows%50_000 == 0 {
			runtime.GC()
			runtime.ReadMemStats(&most)
			if used := int64(most.HeapAlloc) - int64(before.HeapAlloc); used > 20*MaxLine {
				t.Errorf("%d MiB are held after %d lines", used>>20, rows)
			}
		}
		next++
		return nil
	})
	const want = "t.csv:2:33: expected a closing quote for the quote that is opened here, got more than 1048576 bytes without one"
	if err != nil || rows != lines || problems.Count() != 1 || problems.Listed()[0].String() != want {
		t.Errorf("%d of %d lines, problems %v, %v", rows, lines, problems.Listed(), err)
	}
}

// Every line that a stray quote swallows is read after all: each line of the file
// is taken or named.
func TestScanGivesBackWhatAQuoteSwallowed(t *testing.T) {
	const at = "2026-03-02T07:25:00Z"
	ok := func(site string) string { return site + "," + at + ",31.5,4,fine\n" }
	const none = "expected a closing quote for the quote that is opened here, got none in its line"
	for _, tc := range []struct {
		name, text string
		good       []string // line and site
		wrong      []string
	}{
		{"to the end", head + ok("A") + "B," + at + ",31.5,4,\"oh\n" + ok("C") + ok("D"), []string{"2 A", "4 C", "5 D"}, []string{"t.csv:3:31: column note: " + none}},
		{"to the end, no last line end", head + "\"B," + at + ",31.5,4,oh\n" + strings.TrimSuffix(ok("C"), "\n"), []string{"3 C"}, []string{"t.csv:2:1: column site: " + none}},
		{"on the last line", head + ok("A") + "B," + at + ",31.5,4,\"oh\n", []string{"2 A"}, []string{"t.csv:3:31: column note: " + none}},
		{"to a good quote", head + "B," + at + ",31.5,4,\"oh\n" + ok("C") + "D," + at + ",31.5,4,\"a, b\"\n" + ok("E"), []string{"3 C", "4 D", "5 E"}, []string{"t.csv:2:31: column note: " + none}},
		{"closed lines later by another", head + "B," + at + ",31.5,4,\"1/2\n" + ok("C") + "D," + at + ",31.5,4,1/2\"\n" + ok("E"), []string{"3 C", "5 E"},
			[]string{"t.csv:2:31: column note: " + none, `t.csv:4:34: expected a field with a quote in it to be quoted as a whole, its own quotes doubled (""), got a quote in the middle`}},
		{"closed on the next line", head + "\"B," + at + ",31.5,4,\nC\"," + at + ",31.5,4,x\n" + ok("E"), []string{"4 E"},
			[]string{"t.csv:2:1: column site: " + none, `t.csv:3:2: expected a field with a quote in it to be quoted as a whole, its own quotes doubled (""), got a quote in the middle`}},
		{"closed later with too many fields", head + "\"B," + at + ",31.5,4,\n" + ok("C") + "D," + at + ",31.5,\",4\n" + ok("E"), []string{"3 C", "5 E"},
			[]string{"t.csv:2:1: column site: " + none, "t.csv:4:29: column fasteners: " + none}},
		{"with bad lines among them", head + "B," + at + ",31.5,4,\"oh\nC," + at + ",x,4,\nD,\xff\n" + ok("E"), []string{"5 E"},
			[]string{"t.csv:2:31: column note: " + none, `t.csv:3:24: column torque_n_m: expected a number such as 12.5, got "x"`, "t.csv:4:3: expected UTF-8, got the byte 0xFF, which isn't; save the file as CSV in UTF-8"}},
		{"one after the other", head + "B," + at + ",31.5,4,\"oh\nC," + at + ",31.5,4,\"no\n" + ok("D"), []string{"4 D"},
			[]string{"t.csv:2:31: column note: " + none, "t.csv:3:31: column note: " + none}},
		{"before a line that is too long", head + "B," + at + ",31.5,4,\"oh\n" + ok("C") + strings.Repeat("x", MaxLine+3), []string{"3 C"},
			[]string{"t.csv:2:31: column note: " + none, "t.csv:4:1: expected at most 1048576 bytes in a line, got a longer one; the file was read no further"}},
		{"a real note over lines", head + "B," + at + ",31.5,4,\"said, \"\"no\"\",\nand left, at noon\"\n" + ok("C"), []string{"2 B", "4 C"}, nil},
		{"blank lines, then a note over lines", head + "\n\r\n\"B\"," + at + ",31.5,4,\"a\nb\"\n" + ok("C"), []string{"4 B", "6 C"}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			good, wrong := scanText(t, tc.text)
			for i, g := range good {
				good[i] = strings.Join(strings.Fields(g)[:2], " ")
			}
			if strings.Join(good, "|") != strings.Join(tc.good, "|") || strings.Join(wrong, "\n") != strings.Join(tc.wrong, "\n") {
				t.Errorf("good %q\nwant %q\nwrong %q\nwant  %q", good, tc.good, wrong, tc.wrong)
			}
		})
	}
}

// A mebibyte of blank lines is no record that is too long.
func TestScanSkipsAnyNumberOfBlankLines(t *testing.T) {
	good, wrong := scanText(t, head+strings.Repeat("\n", 2*MaxLine)+"RVB,2026-03-02T07:25:00Z,31.5,4,x\n")
	if len(wrong) > 0 || len(good) != 1 || !strings.HasPrefix(good[0], fmt.Sprintf("%d RVB", 2*MaxLine+2)) {
		t.Errorf("good %q, wrong %q", good, wrong)
	}
}

// A decimal comma that is not quoted parts a cell in two; in a list, several.
func TestScanHintsAtADecimalCommaInAList(t *testing.T) {
	columns := []Column{{Name: "id", Required: true}, {Name: "target", Required: true, Number: true}, {Name: "readings", Required: true, List: true}, {Name: "uncertainty", Number: true}}
	for line, want := range map[string]string{
		"A,8,8,06;8,05,0.1":        "t.csv:2:5: column readings: expected 4 fields, got 6; 8,06;8,05 looks like numbers with a decimal comma: write 8.06;8.05",
		"A,8,8,06,0.1":             "t.csv:2:5: column readings: expected 4 fields, got 5; 8,06 looks like a number with a decimal comma: write 8.06",
		"A,8,8.1; 8,06 ;+8,05,0.1": "t.csv:2:5: column readings: expected 4 fields, got 6; 8.1; 8,06 ;+8,05 looks like numbers with a decimal comma: write 8.1; 8.06 ;+8.05",
		"A,8,8,06;8,05,0,096":      "t.csv:2:5: column readings: expected 4 fields, got 7; 8,06;8,05 looks like numbers with a decimal comma: write 8.06;8.05",
		"A,8,0,8,06;8,05,0.1":      "t.csv:2:3: column target: expected 4 fields, got 7; 8,0 looks like a number with a decimal comma: write 8.0",
		"A,8,\"8,06;8,05\",0.1":    `t.csv:2:5: column readings: expected numbers parted by semicolons, each a number with a decimal point, got "8,06" with a comma`,
		"A,8,8.06;x,05,0.1":        "t.csv:2:1: expected 4 fields, got 5",
	} {
		var problems Problems
		err := Scan("t.csv", strings.NewReader("id,target,readings,uncertainty\n"+line+"\n"), columns, &problems, func(row *Row) error {
			row.Numbers("readings")
			return nil
		})
		if got := problems.Listed(); err != nil || len(got) != 1 || got[0].String() != want {
			t.Errorf("%s: got %v, %v\nwant %s", line, got, err, want)
		}
	}
}

// Where 0 would mean that nothing is given, a 0 that is written is a mistake.
func TestRowRefusesAZeroThatMeansNothing(t *testing.T) {
	for cell, want := range map[string]string{
		"":    "",
		"25":  "",
		"0":   `expected above 0, or nothing, got "0"`,
		"+00": `expected above 0, or nothing, got "+00"`,
		"-3":  `expected above 0, or nothing, got "-3"`,
	} {
		var problems Problems
		err := Scan("t.csv", strings.NewReader("id,width\nA,"+cell+"\n"), []Column{{Name: "id"}, {Name: "width"}}, &problems, func(row *Row) error {
			row.AboveZero("width")
			return nil
		})
		if got := messages(problems); err != nil || got != want {
			t.Errorf("%q: got %q, %v; want %q", cell, got, err, want)
		}
	}
	for cell, want := range map[string]string{
		"": "", "25": "", "0": `expected above 0, or nothing, got "0"`, "000": `expected above 0, or nothing, got "000"`,
		"-3": `expected a whole number from 1 to 100, got "-3"`, "101": `expected a whole number from 1 to 100, got "101"`, "x": `expected a whole number, got "x"`,
	} {
		var problems Problems
		err := Scan("t.csv", strings.NewReader("id,sample\nA,"+cell+"\n"), []Column{{Name: "id"}, {Name: "sample"}}, &problems, func(row *Row) error {
			row.WholeAboveZero("sample", 100)
			return nil
		})
		if got := messages(problems); err != nil || got != want {
			t.Errorf("%q: got %q, %v; want %q", cell, got, err, want)
		}
	}
}

// messages are what is said of the problems, without their places.
func messages(problems Problems) string {
	var all []string
	for _, p := range problems.Listed() {
		all = append(all, p.Message)
	}
	return strings.Join(all, "; ")
}

func TestScanTakesALineJustWithinTheLimit(t *testing.T) {
	row := "RVB,2026-03-02T07:25:00Z,31.5,4,"
	good, wrong := scanText(t, head+row+strings.Repeat("x", MaxLine-len(row))+"\r\n")
	if len(good) != 1 || len(wrong) != 0 {
		t.Errorf("%d good, wrong %q", len(good), wrong)
	}
}

func TestScanPassesReadErrorsOn(t *testing.T) {
	broken := io.MultiReader(strings.NewReader(head+"RVB,2026-03-02T07:25:00Z,31.5,4,a\n"), iotest.ErrReader(os.ErrDeadlineExceeded))
	if _, _, err := scanReader(broken); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("got %v", err)
	}
	if good, wrong, err := scanReader(iotest.OneByteReader(strings.NewReader(head + "RVB,2026-03-02T07:25:00Z,31.5,4,a\n"))); err != nil || len(good) != 1 {
		t.Errorf("byte by byte: %q %q %v", good, wrong, err)
	}
}

type fillReader struct {
	pattern string
	at      int
}

func filler(pattern string) io.Reader { return &fillReader{pattern: pattern} }

func (f *fillReader) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = f.pattern[f.at]
		f.at = (f.at + 1) % len(f.pattern)
	}
	return len(p), nil
}

// Whatever the bytes, the reader ends, every problem names a place inside the
// file, and no line is both good and bad.
func FuzzScan(f *testing.F) {
	f.Add([]byte(head + "RVB,2026-03-02T07:25:00Z,31.5,4,\"a, b\"\n"))
	f.Add([]byte("\ufeffsite,at,torque_n_m,fasteners\r\nRVB,2026-03-02T07:25:00,\"31,5\",0\r\n"))
	f.Add([]byte(head + "RVB,\"oh\nPCL,\"x\"y,,\n,,,,\n"))
	f.Add([]byte("\xff\xfes\x00"))
	f.Add([]byte(head + "A,\"\nB,2026-03-02T07:25:00Z,1,1,\nC,\",x,,\nD,,,,\"\"\"\n"))
	f.Add([]byte(head + "\x00,\xe9,1 000,4,\"\"\"\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var problems Problems
		lines := strings.Count(string(data), "\n") + 1
		good := map[int]bool{}
		err := Scan("t.csv", strings.NewReader(string(data)), testColumns, &problems, func(row *Row) error {
			row.RequiredTime("at")
			row.RequiredNumber("torque_n_m")
			row.RequiredWhole("fasteners", 1, 100000)
			if row.Line < 2 || row.Line > lines || good[row.Line] {
				t.Errorf("row at line %d of %d", row.Line, lines)
			}
			good[row.Line] = !row.Bad()
			return nil
		})
		if err != nil {
			t.Errorf("an error for bytes in memory: %v", err)
		}
		for _, p := range problems.Listed() {
			if p.Line < 1 || p.Line > lines || p.Column < 1 || p.Message == "" {
				t.Errorf("no such place: %v (of %d lines)", p, lines)
			}
			if good[p.Line] {
				t.Errorf("line %d was taken though: %v", p.Line, p)
			}
		}
	})
}
