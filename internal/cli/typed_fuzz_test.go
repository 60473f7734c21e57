package cli

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"jointledger/internal/ledger"
)

// typedReader is a parser of what people type as a flag or an argument: what it read,
// written so that it reads the same, and the error. What is refused gives an empty text.
type typedReader func(t *testing.T, text string) (written string, err error)

func full(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// share holds a number to its range.
func share(t *testing.T, text string, v, least, most float64) string {
	if !(v >= least && v <= most) || math.IsInf(v, 0) || v == 0 && math.Signbit(v) {
		t.Errorf("%q is %g", text, v)
	}
	return full(v)
}

// resource gives the reader of the name of a thing.
func resource(collection string) typedReader {
	return func(t *testing.T, text string) (string, error) {
		name, err := resourceArg(text, collection)
		if err == nil && (!strings.HasPrefix(name, collection+"/") || strings.Count(name, "/") != 1) {
			t.Errorf("%q is %q", text, name)
		}
		return name, err
	}
}

var typedReaders = []typedReader{
	func(t *testing.T, text string) (string, error) {
		d, err := parseWithin(text)
		if err != nil {
			return "", err
		}
		if d < 0 || d%time.Hour != 0 {
			t.Errorf("%q is %v", text, d)
		}
		return strconv.FormatInt(int64(d/time.Hour), 10) + "h", nil
	},
	func(t *testing.T, text string) (string, error) {
		v, err := parseRate(text)
		if err != nil {
			return "", err
		}
		if strings.Contains(text, "/-") {
			t.Errorf("%q is %g", text, v)
		}
		return share(t, text, v, math.SmallestNonzeroFloat64, math.MaxFloat64), nil
	},
	func(t *testing.T, text string) (string, error) {
		v, err := parseProbability(text)
		if err != nil {
			return "", err
		}
		return share(t, text, v, 0, 1), nil
	},
	func(t *testing.T, text string) (string, error) {
		torques, err := parseTorques(text)
		if err != nil {
			return "", err
		}
		if len(torques) != strings.Count(text, ";")+1 {
			t.Errorf("%q is %d torques", text, len(torques))
		}
		var parts []string
		for _, v := range torques {
			parts = append(parts, share(t, text, v, 0, math.MaxFloat64)+" N.m")
		}
		return strings.Join(parts, ";"), nil
	},
	func(t *testing.T, text string) (string, error) {
		p, err := parsePoint(ledger.AsLeft, text)
		if err != nil {
			return "", err
		}
		var readings []string
		for _, v := range append(slices.Clone(p.GetReadingsNewtonMetres()), p.GetTargetNewtonMetres()) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%q is %v", text, p)
			}
			readings = append(readings, full(v))
		}
		n := len(readings) - 1
		written := readings[n] + ": " + strings.Join(readings[:n], ";")
		if u := p.GetExpandedUncertaintyNewtonMetres(); u != 0 {
			written += " ± " + share(t, text, u, 0, math.MaxFloat64)
		}
		return written, nil
	},
	func(t *testing.T, text string) (string, error) {
		n, err := parseCount("N", text, 1, 500)
		if err != nil {
			return "", err
		}
		return share(t, text, float64(n), 1, 500), nil
	},
	func(_ *testing.T, text string) (string, error) {
		n, err := parseWhole(text)
		if err != nil {
			return "", err
		}
		return strconv.FormatInt(n, 10), nil
	},
	func(_ *testing.T, text string) (string, error) { return recordArg("ID", text, "incidents") },
	func(_ *testing.T, text string) (string, error) {
		id, err := parseRecordID(text)
		if err != nil {
			return "", err
		}
		return id.String(), nil
	},
	resource("lots"), resource("tools"), resource("people"),
	func(t *testing.T, text string) (string, error) {
		p, err := placeArg(text, 2, 3, 4)
		if err == nil && p.Depth() < 2 {
			t.Errorf("%q is %v", text, p)
		}
		return p.String(), err
	},
	func(_ *testing.T, text string) (string, error) { return siteOf(text) },
}

// FuzzTyped: whatever people type, each parser gives what it read, which reads the same
// when it is written in full, or nothing and an error that says what was expected.
func FuzzTyped(f *testing.F) {
	for i, seeds := range [][]string{
		{"30d", "6 W", "0h", "99999999999999999999w", "15250w", "-1d", "1.5d", "\u0661d"},
		{"10/1000", "0.01", "1/0", "-10/-1000", "1e-308/1e308", "1/", "/", "1/2/3", "NaN"},
		{"5%", "0.05", "-0", "-0%", "101%", "1e-400", "%", "5 %%"},
		{"30.7; 33.4 N.m", "24 lbf.ft;25", "30;;31", "1/2 in", "-5 N.m", ";", "1e999"},
		{"24: 24.01;24.21;24.37 ± 0.288", "24:24", "24: ± 1", "24: 24 ± -1", "24: 24 ± ", ":", "NaN: 1", "24: 24 ± 1 ± 2"},
		{"12", "+12", "0", "501", "1e2", "\u0662", "9223372036854775808"},
		{"2147483648", "-0", "012"},
		{"019cadd3-6bc0-77c9-9e41-58325664ba11", "incidents/019cadd36bc077c99e4158325664ba11", "{019cadd3-6bc0-77c9-9e41-58325664ba11}", "tightenings/019cadd3-6bc0-77c9-9e41-58325664ba11"},
		{"urn:uuid:019cadd3-6bc0-77c9-9e41-58325664ba11", "a/b/019cadd3-6bc0-77c9-9e41-58325664ba11", " 019cadd3-6bc0-77c9-9e41-58325664ba11\n"},
		{"M10-ST-2640C", "lots/M10", "lots/lots/M10", "M10-ST-2640C+1", "lots/", " lots/x ", "x/y"},
		{"TW-RVB-03", "tools/tw"}, {"AB", "people/\u0130", "\u212a"},
		{"rvb/ct2/c3/j014", "sites/RVB/towers/CT2", "RVB/CT2/C3/J014+G", "rvb/-", "RVB//C3", "SITES/RVB", "/RVB/CT2"},
		{"rvb", "", "sites/RVB", "-"},
	} {
		for _, text := range seeds {
			f.Add(uint8(i), text)
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		read := typedReaders[int(which)%len(typedReaders)]
		written, err := read(t, text)
		if err != nil {
			if written != "" || err.Error() == "" || utf8.ValidString(text) && !utf8.ValidString(err.Error()) {
				t.Errorf("%q is %q besides the error %q", text, written, err)
			}
			return
		}
		again, err := read(t, written)
		if err != nil || again != written {
			t.Errorf("%q is %q, which reads back as %q, %v", text, written, again, err)
		}
	})
}

// FuzzPlaceTail: wherever somebody is, the end of a name gives places that end in it, of
// the depths that are asked for, and that lie where the current place does.
func FuzzPlaceTail(f *testing.F) {
	f.Add("RVB/CT2/C3", "J014")
	f.Add("RVB/CT2/C3", "c4")
	f.Add("RVB/CT2/C3", "ct3/c1")
	f.Add("RVB/CT2/C3/J001", "C3/J014")
	f.Add("RVB", "/")
	f.Add("RVB/CT2", "-")
	f.Add("RVB/CT2", "\u017f1")
	f.Fuzz(func(t *testing.T, at, typed string) {
		here, err := ledger.ParsePlace(at)
		if err != nil || here.Depth() > 3 {
			return // nobody is kept at a joint
		}
		ends := func(p ledger.Place) bool {
			return strings.HasSuffix("/"+p.String(), "/"+strings.ToUpper(typed))
		}
		for _, depths := range [][]int{{4}, {1, 2, 3}, {1, 2, 3, 4}} {
			found := placesJoined(here, typed, depths)
			if own, ok := ownName(here, typed, depths); ok {
				found = append(found, own)
			}
			if next, ok := likelyNext(here, typed, slices.Max(depths)); ok {
				if next.Depth() > slices.Max(depths) || !ends(next) {
					t.Errorf("at %s %q goes to %s", here, typed, next)
				}
				found = append(found, next)
			}
			for _, p := range found {
				if !ends(p) || p.Site != here.Site {
					t.Errorf("at %s %q may be %s", here, typed, p)
				}
				if again, err := ledger.ParsePlace(p.String()); err != nil || again != p {
					t.Errorf("at %s %q may be %+v, which reads as %+v, %v", here, typed, p, again, err)
				}
			}
			for _, p := range placesJoined(here, typed, depths) {
				if !slices.Contains(depths, p.Depth()) {
					t.Errorf("at %s %q may be %s, of depth %d", here, typed, p, p.Depth())
				}
			}
		}
	})
}

// FuzzSettings: a settings file is read whole or not at all, each problem names a key or
// a line, and a text that setup writes into it is the one that is read.
func FuzzSettings(f *testing.F) {
	f.Add([]byte("server = \"crib.example:7443\"\ntimeout = \"30s\"\noffline_only = true\n"), "people/ab")
	f.Add([]byte("timeout = 30\nserver = ''\ntls = \"yes\"\nsevrer = 1\n"), "C:\\data\\\"x\"")
	f.Add([]byte("[server]\na = 1\n"), "\u00e9\u0000\u007f\u2028")
	f.Add([]byte("output = \"xml\"\noutput = \"csv\"\n"), "a\nb\tc'd")
	f.Add([]byte("timeout = \"-1s\"\nperson = 1979-05-27T07:32:00Z\nfolder = nan\n"), "\xff")
	f.Fuzz(func(t *testing.T, data []byte, text string) {
		read, lines := parseSettings(data)
		if again, repeated := parseSettings(data); !slices.Equal(lines, repeated) || len(lines) == 0 && !sameSettings(read, again) {
			t.Errorf("read twice: %+v, %q, then %+v, %q", read, lines, again, repeated)
		}
		if len(lines) == 0 && (read.timeout < 0 || slices.Contains([]string{read.line.tls}, "yes")) {
			t.Errorf("%+v", read)
		}
		if slices.Contains(lines, "") {
			t.Errorf("a problem without a word: %q", lines)
		}
		if !utf8.ValidString(text) || strings.TrimSpace(text) == "" {
			return
		}
		written := tomlLine("folder", text)
		if read, lines := parseSettings([]byte(written)); len(lines) > 0 || read.folder != text {
			t.Errorf("%q is written as %q, which reads as %+v, %q", text, written, read, lines)
		}
	})
}

func sameSettings(a, b *fileSettings) bool {
	x, y := *a, *b
	same := x.offlineOnly == nil && y.offlineOnly == nil || x.offlineOnly != nil && y.offlineOnly != nil && *x.offlineOnly == *y.offlineOnly
	x.offlineOnly, y.offlineOnly = nil, nil
	return same && x == y
}

// FuzzReadKit: a kit list is refused whole, with the place of each problem, or each of
// its lines is one that the server takes.
func FuzzReadKit(f *testing.F) {
	f.Add("kind,quantity,min_n_m,max_n_m,load_kg,note\ntorque-wrench,2,20,40,,for the deck\nhoist,1,,,1500,\n")
	f.Add("kind,quantity\nnail,0\ntorque-wrench,2001\n")
	f.Add("kind,quantity,min_n_m,max_n_m\ntorque-wrench,1,40,20\ntorque-wrench,1,1e-320,\n")
	f.Add("kind;quantity\n")
	f.Fuzz(func(t *testing.T, text string) {
		kit, err := readKit("-", strings.NewReader(text))
		if err != nil {
			var refused *failure
			if kit != nil || !errors.As(err, &refused) || refused.code != exitData || refused.message == "" {
				t.Errorf("%+v besides %+v", kit, err)
			}
			return
		}
		if len(kit.lines) == 0 || len(kit.lines) != len(kit.rows) {
			t.Fatalf("%d lines in %d rows", len(kit.lines), len(kit.rows))
		}
		for _, l := range kit.lines {
			low, high := l.GetLowestNewtonMetres(), l.GetHighestNewtonMetres()
			if l.GetQuantity() < 1 || l.GetQuantity() > mostOfAKind || l.GetKind() == 0 || !(low >= 0 && low <= high) || math.IsInf(high, 0) || !(l.GetLoadKilograms() >= 0) {
				t.Errorf("a line %v", l)
			}
		}
	})
}
