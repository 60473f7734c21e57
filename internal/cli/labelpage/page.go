package labelpage

import (
	"bufio"
	"html/template"
	"io"
	"sync"
)

// Label is one label.
type Label struct {
	// Code is the short code with its check character: what the QR code holds.
	Code string
	// Kind says what is labelled, such as joint or lot; Detail more of it.
	Kind, Detail string
}

// Page is what is printed.
type Page struct {
	Title  string
	Labels []Label
}

// Write writes the page as HTML that needs nothing from elsewhere. It prints on A4
// and on US letter: three columns of 60 mm are narrower than both, and no label is
// cut by the end of a sheet. An error is that of w, or names a label of which no
// QR code can be made.
func (p Page) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	if err := head().Execute(b, p); err != nil {
		return err
	}
	for _, l := range p.Labels {
		drawn, err := Symbol(l.Code)
		if err != nil {
			return err
		}
		// The template would write the plus sign of a code as a reference, which a
		// search in the page's text would not find.
		code := template.HTML(template.HTMLEscapeString(l.Code))
		if err := one().Execute(b, struct {
			Label
			Symbol, Shown template.HTML
		}{l, drawn, code}); err != nil {
			return err
		}
	}
	if _, err := b.WriteString("</main>\n</body>\n</html>\n"); err != nil {
		return err
	}
	return b.Flush()
}

var head = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("head").Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}}</title>
<style>
@page { margin: 10mm; }
* { box-sizing: border-box; }
body { margin: 0; color: #000; background: #fff; font: 9pt/1.25 system-ui, sans-serif; }
header { padding: 4mm 0; }
h1 { font-size: 12pt; margin: 0; }
header p { margin: 1mm 0 0; }
main { display: grid; grid-template-columns: repeat(3, 60mm); gap: 3mm; justify-content: start; }
article { display: grid; grid-template-columns: 26mm 1fr; align-items: center; column-gap: 1mm; height: 38mm; padding: 1mm;
  border: 0.2mm dashed #999; overflow: hidden; break-inside: avoid; page-break-inside: avoid; }
svg { width: 26mm; height: 26mm; display: block; }
.detail { overflow-wrap: anywhere; max-height: 26mm; overflow: hidden; }
.code { grid-column: 1 / -1; font: 700 10pt/1.15 ui-monospace, "DejaVu Sans Mono", Consolas, monospace; font-variant-numeric: slashed-zero;
  overflow-wrap: anywhere; text-align: center; }
.code.long { font-size: 7pt; }
@media screen { body { padding: 10mm; } }
@media print { header p { display: none; } }
</style>
</head>
<body>
<header>
<h1>{{.Title}}</h1>
<p>{{len .Labels}} label{{if ne (len .Labels) 1}}s{{end}}. Print on A4 or US letter at 100 %. A code may be typed or scanned wherever trackctl takes a
place, a lot or a tool; what stands after the plus sign is a check character (ISO/IEC 7064, MOD 37,36).</p>
</header>
<main>
`))
})

var one = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("label").Parse(
		`<article>{{.Symbol}}<div class="detail"><b>{{.Kind}}</b>{{with .Detail}}<br>{{.}}{{end}}</div>` +
			`<div class="code{{if gt (len .Code) 26}} long{{end}}">{{.Shown}}</div></article>
`))
})
