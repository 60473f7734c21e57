package report

import (
	"encoding/json"
	"io"
)

// HandoverJSON writes the whole record as one JSON object with the names of
// HandoverDocument and full precision. It fails when the writer does, or for a
// number that JSON can't hold.
func HandoverJSON(w io.Writer, h *HandoverDocument) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(h)
}
