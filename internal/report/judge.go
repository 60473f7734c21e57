package report

import (
	"fmt"
	"slices"
	"strings"
)

// Judge sets the verdict. The record is complete when the source says so, names
// nothing missing, and nothing in the record itself speaks against it: a hold that
// is open is missing its release, whether or not the source listed it.
func (h *HandoverDocument) Judge(sourceSaysComplete bool) {
	for _, j := range h.Joints {
		for _, hold := range j.OpenHolds {
			if h.listed(j.Place, hold) {
				continue
			}
			h.Missing = append(h.Missing, Missing{j.Place, fmt.Sprintf("The hold on %s is not released: %s", or(string(hold.Held), j.Place), ended(string(hold.Reason)))})
		}
	}
	if len(h.Joints) == 0 {
		h.Missing = append(h.Missing, Missing{h.Place, "There is no joint in the record."})
	}
	if !sourceSaysComplete && len(h.Missing) == 0 {
		h.Missing = append(h.Missing, Missing{h.Place, "The server does not call the record complete and does not say why."})
	}
	h.Complete = len(h.Missing) == 0
}

// listed says whether a sentence about the joint or what is held speaks of a hold
// already.
func (h *HandoverDocument) listed(joint string, hold OpenHold) bool {
	return slices.ContainsFunc(h.Missing, func(m Missing) bool {
		return (m.Place == joint || m.Place == string(hold.Held)) && strings.Contains(strings.ToLower(m.Sentence), "on hold")
	})
}

// or is the text, or what stands for it when it is empty.
func or(text, instead string) string {
	if text == "" {
		return instead
	}
	return text
}

// ended ends a sentence.
func ended(text string) string {
	if text == "" || strings.HasSuffix(text, ".") || strings.HasSuffix(text, "!") || strings.HasSuffix(text, "?") {
		return text
	}
	return text + "."
}
