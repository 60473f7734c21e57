package csvfolder

import (
	"fmt"
	"strings"
)

// Format lists the files of the import format and their columns, for a person.
func Format() string {
	var b strings.Builder
	b.WriteString("Files in the order in which they are taken, with their columns; those in brackets may\n" +
		"be missing. The columns may stand in any order. UTF-8, RFC 4180; times RFC 3339 with\n" +
		"their zone; several readings, roles or policies in one cell are parted by semicolons. A person\n" +
		"or a calibration may take several lines: one for each qualification or test point.\n" +
		"A policy is written as periodic-inspection=12mo after-event: see tool add --help.\n")
	for _, k := range kinds() {
		fmt.Fprintf(&b, "\n%s\n", k.file)
		line := " "
		for i, c := range k.columns {
			word := c.Name
			if !c.Required {
				word = "[" + word + "]"
			}
			if i < len(k.columns)-1 {
				word += ","
			}
			if len(line)+1+len(word) > 90 {
				b.WriteString(line + "\n")
				line = " "
			}
			line += " " + word
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}
