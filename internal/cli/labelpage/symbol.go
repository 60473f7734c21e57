package labelpage

import (
	"fmt"
	"html/template"
	"strings"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"
)

// quietZone is the white border that a QR code needs, in modules (ISO/IEC 18004).
const quietZone = 4

// Symbol draws a text as a QR code in SVG. Error correction is level Q, which
// bears about a quarter of the symbol being dirty or torn (ISO/IEC 18004, from
// memory): labels hang on steel in the weather.
func Symbol(text string) (template.HTML, error) {
	code, err := qr.Encode(text, qr.Q, qr.Auto)
	if err != nil {
		return "", fmt.Errorf("no QR code can be made of %q: %w", text, err)
	}
	size := code.Bounds().Dx()
	var path strings.Builder
	for y := range size {
		for x := 0; x < size; {
			run := darkRun(code, x, y, size)
			if run > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x+quietZone, y+quietZone, run, run)
			}
			x += run + 1
		}
	}
	full := size + 2*quietZone
	return template.HTML(fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges" role="img" aria-label="%s">`+
		`<rect width="%d" height="%d" fill="#fff"/><path fill="#000" d="%s"/></svg>`,
		full, full, template.HTMLEscapeString(text), full, full, path.String())), nil
}

// darkRun is how many dark modules stand in the row from x on.
func darkRun(code barcode.Barcode, x, y, size int) int {
	n := 0
	for x+n < size {
		if r, _, _, _ := code.At(x+n, y).RGBA(); r != 0 {
			break
		}
		n++
	}
	return n
}
