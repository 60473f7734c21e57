package labelpage

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func write(t *testing.T, p Page) string {
	t.Helper()
	var b bytes.Buffer
	if err := p.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var page = Page{Title: `Labels of <RVB>`, Labels: []Label{
	{"RVB/CT2/C3/J014+G", "joint", "structural, 24 fasteners"},
	{"M10-ST-2640C+8", "lot", `<script>alert("x")</script> & Söhne`},
	{"m10.a_b++K", "lot", ""},
	{strings.Repeat("LONG-TAG", 10) + "+A", "joint", ""},
	{"<b>+A", "lot", ""}, // no name has such characters
}}

// The page stands on its own: no link, no script, no file from elsewhere.
func TestPageIsSelfContained(t *testing.T) {
	html := write(t, page)
	for _, banned := range []string{"<script", "<link", "src=", "href=", "@import", "url("} {
		if strings.Contains(html, banned) {
			t.Errorf("the page holds %q", banned)
		}
	}
	// The one address is the name of SVG's namespace, which nobody fetches.
	if n := strings.Count(html, "http"); n != len(page.Labels) || strings.Count(html, `xmlns="http://www.w3.org/2000/svg"`) != n {
		t.Errorf("the page holds %d addresses", n)
	}
	for _, want := range []string{"<!DOCTYPE html>", "<title>Labels of &lt;RVB&gt;</title>", "@page { margin: 10mm; }", "break-inside: avoid",
		"&lt;script&gt;alert(&#34;x&#34;)&lt;/script&gt; &amp; Söhne", `<div class="code">RVB/CT2/C3/J014+G</div>`, `<div class="code long">LONG-TAG`, `<div class="code">&lt;b&gt;+A</div>`} {
		if !strings.Contains(html, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// Its elements are closed in the order in which they were opened.
func TestPageIsWellFormed(t *testing.T) {
	html := write(t, page)
	html = regexp.MustCompile(`<(meta|br)([^>]*)>`).ReplaceAllString(html, "<$1$2/>")
	decoder := xml.NewDecoder(strings.NewReader(strings.TrimPrefix(html, "<!DOCTYPE html>\n")))
	count := map[string]int{}
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if start, ok := token.(xml.StartElement); ok {
			count[start.Name.Local]++
		}
	}
	n := len(page.Labels)
	if count["article"] != n || count["svg"] != n || count["main"] != 1 || count["title"] != 1 {
		t.Errorf("elements: %v", count)
	}
}

// Three columns and their gaps fit between the margins of both papers, and so do
// whole rows: A4 is 210 × 297 mm (ISO 216), letter 8.5 × 11 in (ANSI Y14.1).
func TestLabelsFitThePapers(t *testing.T) {
	html := write(t, page)
	millimetres := func(pattern string) float64 {
		m := regexp.MustCompile(pattern).FindStringSubmatch(html)
		if m == nil {
			t.Fatalf("no %s in the page", pattern)
		}
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	margin, column, gap := millimetres(`@page \{ margin: (\d+)mm`), millimetres(`repeat\(3, (\d+)mm\)`), millimetres(`gap: (\d+)mm; justify`)
	width := 3*column + 2*gap
	for name, paper := range map[string]float64{"A4": 210, "US letter": 8.5 * 25.4} {
		if width > paper-2*margin {
			t.Errorf("%s: labels are %v mm wide, the paper has %v", name, width, paper-2*margin)
		}
	}
}

func TestPageReportsFailures(t *testing.T) {
	p := Page{Labels: []Label{{Code: strings.Repeat("A", 5000)}}}
	if err := p.Write(io.Discard); err == nil || !strings.Contains(err.Error(), "no QR code can be made") {
		t.Errorf("got %v", err)
	}
	full := errors.New("disk full")
	if err := page.Write(failing{full}); !errors.Is(err, full) {
		t.Errorf("got %v", err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }
