package report

import (
	"bytes"
	_ "embed"
	"html/template"
	"io"
	"sync"
	"unicode"
)

//go:embed handover.html.tmpl
var handoverPage string

var handoverTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("handover").Parse(handoverPage))
})

// Handover writes the record as one HTML page that needs nothing else: no script,
// no font, no picture from elsewhere. It prints on A4 and US letter. It fails only
// when the writer does.
func Handover(w io.Writer, h *HandoverDocument) error {
	var b bytes.Buffer
	if err := handoverTemplate().Execute(&b, newPage(h)); err != nil {
		return err
	}
	_, err := w.Write(bytes.Map(printed, b.Bytes()))
	return err
}

// printed keeps what a person typed from turning the page's own words around or
// hiding in it: control characters and direction marks become visible.
func printed(r rune) rune {
	switch {
	case r == '\n':
		return r
	case r == '\t' || r == '\r':
		return ' '
	case unicode.IsControl(r), r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
		return unicode.ReplacementChar
	}
	return r
}
