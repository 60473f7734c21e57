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

// A line or a quoted field far over the limit must be named and must not be read
// into memory.
func TestScanBoundsALine(t *testing.T) {
	const size = 100 << 20
	for _, tc := range []struct {
		name string
		r    io.Reader
		want string
	}{
		{"one line", io.MultiReader(strings.NewReader(head+"RVB,2026-03-02T07:25:00Z,31.5,4,"), io.LimitReader(filler("x"), size)),
			"t.csv:2:1: expected at most 1048576 bytes in a line, got a longer one; the file was read no further"},
		{"a quote never closed", io.MultiReader(strings.NewReader(head+"RVB,2026-03-02T07:25:00Z,31.5,4,\""), io.LimitReader(filler("PCL,2026-03-02T07:25:00Z,1,1,\n"), size)),
			"t.csv:2:33: expected a closing quote for the quote that is opened here, got more than 1048576 bytes without one; the file was read no further"},
		{"a header", io.LimitReader(filler("site"), size),
			"t.csv:1:1: expected at most 1048576 bytes in a line, got a longer one; the file was read no further"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, wrong, err := scanReader(tc.r)
			runtime.ReadMemStats(&after)
			if err != nil || len(wrong) != 1 || wrong[0] != tc.want {
				t.Errorf("got %q, %v\nwant %q", wrong, err, tc.want)
			}
			if used := after.TotalAlloc - before.TotalAlloc; used > 20*MaxLine {
				t.Errorf("%d MiB were allocated for a file of %d MiB", used>>20, size>>20)
			}
		})
	}
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
