package rules

import (
	"fmt"
	"math"
	"strings"

	"jointledger/internal/bolting"
	"jointledger/internal/ledger"
)

func lotRules() []Rule {
	return []Rule{
		{
			Code: CodeLotHeld, Severities: []Severity{Hold}, Kinds: attempts, check: checkLotHeld,
			Limit:    "no hold on the lot that was open at the time of use",
			Sentence: "Fasteners of a lot in quarantine, which is a hold on it, were driven.",
		},
		{
			Code: CodeLotNotHere, Severities: []Severity{Warn}, Kinds: attempts, check: checkLotNotHere,
			Limit:    "one movement that brought the lot to the site",
			Sentence: "Fasteners of a lot that never came to the site were driven there.",
		},
		{
			Code: CodeLotOverdrawn, Severities: []Severity{Warn}, Kinds: attempts, check: checkLotOverdrawn,
			Limit:    "the lot's stock at the site: the sum of its movements less attempts",
			Sentence: "More of the lot was used at the site than came there.",
		},
		{
			Code: CodeFastenerSubstituted, Severities: []Severity{Note, Hold}, Kinds: tightenings, check: checkFastenerSubstituted,
			Limit:    "the specification's fastener: every property that both it and the lot give",
			Sentence: "The lot is not the specified fastener; a note with an approved substitution, a hold without.",
		},
		{
			Code: CodeCountOverJoint, Severities: []Severity{Warn}, Kinds: tightenings, check: checkCountOverJoint,
			Limit:    "the number of fasteners of the joint, for one record of a first pass",
			Sentence: "More fasteners are recorded as tightened in a first pass than the joint has.",
		},
	}
}

func checkLotHeld(f *Facts) []Finding {
	lot, _, ok := f.attempts()
	if !ok || !f.LotHeld {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("Lot %s was on hold when it was used on %s.", lot, f.localDay()),
		Source:  "the hold on the lot that was open then",
	})
}

func checkLotNotHere(f *Facts) []Finding {
	lot, _, ok := f.attempts()
	if !ok || !f.LotStockKnown || f.LotReceivedHere {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("Lot %s was never received at site %s.", lot, f.Record.SiteCode()),
		Source:  "the lot's movements",
	})
}

// checkLotOverdrawn counts only new fasteners: going over others again uses
// none up. A lot that never came is reported as that and not as overdrawn too.
func checkLotOverdrawn(f *Facts) []Finding {
	lot, used, ok := f.attempts()
	if !ok || used == 0 || !f.LotStockKnown || !f.LotReceivedHere || used <= f.LotOnHandBefore {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("%s of lot %s were used at site %s where only %d should have been left.",
			quantity(used, "fastener"), lot, f.Record.SiteCode(), max(0, f.LotOnHandBefore)),
		Source: "the lot's movements less attempts",
	}.against(float64(used), float64(max(0, f.LotOnHandBefore)), "fasteners"))
}

// checkCountOverJoint judges one record by itself. Several together may come to
// more than the joint has, since a fastener that was replaced is a new attempt.
func checkCountOverJoint(f *Facts) []Finding {
	r, ok := f.tightening()
	if !ok || r.Pass != ledger.PassFirst || f.Joint == nil || f.Joint.Fasteners <= 0 || r.Fasteners <= f.Joint.Fasteners {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("%s were recorded as tightened at once in joint %s, which has %d.",
			quantity(int64(r.Fasteners), "fastener"), r.Joint, f.Joint.Fasteners),
		Source: "the joint's number of fasteners",
	}.against(float64(r.Fasteners), float64(f.Joint.Fasteners), "fasteners"))
}

// substitution is the approved one that the record's lot falls under; none when
// the lot is what was specified.
func (f *Facts) substitution() (ledger.Substitution, bool) {
	if f.Specification == nil || f.Lot == nil || len(f.Substitutions) == 0 ||
		len(differences(f.Specification.Fastener, f.Lot.Fastener)) == 0 {
		return ledger.Substitution{}, false
	}
	for _, s := range f.Substitutions {
		if s.Specification == f.Specification.Code && s.ApprovedBy != "" && len(differences(s.Permitted, f.Lot.Fastener)) == 0 {
			return s, true
		}
	}
	return ledger.Substitution{}, false
}

func checkFastenerSubstituted(f *Facts) []Finding {
	r, ok := f.tightening()
	if !ok || f.Specification == nil || f.Lot == nil {
		return nil
	}
	d := differences(f.Specification.Fastener, f.Lot.Fastener)
	if len(d) == 0 {
		return nil
	}
	what := fmt.Sprintf("Lot %s is not the fastener of specification %s: %s", r.Lot, f.Specification.Code, strings.Join(d, ", "))
	sub, approved := f.substitution()
	if !approved {
		return one(Finding{
			Severity: Hold, Message: what + "; no substitution is approved.",
			Source: f.specified(),
		})
	}
	needs := ""
	if sub.Needs != "" {
		needs = ", which also needs " + sub.Needs
	}
	return one(Finding{
		Severity: Note, Message: fmt.Sprintf("%s; substitution %s, approved by %s, permits it%s.", what, sub.Code, sub.ApprovedBy, needs),
		Source: "substitution " + sub.Code,
	})
}

// lengthSlack, mm, is the rounding of an inch length typed in millimetres.
const lengthSlack = 0.1

// differences lists in words where a lot is not the wanted fastener. A property
// that either of them leaves open makes no difference.
func differences(want, have ledger.Fastener) []string {
	var d []string
	text := func(name, want, have string, same bool) {
		if want != "" && have != "" && !same {
			d = append(d, fmt.Sprintf("%s %s instead of %s", name, have, want))
		}
	}
	text("thread", want.Thread, have.Thread, sameThread(want.Thread, have.Thread))
	if want.LengthMillimetres > 0 && have.LengthMillimetres > 0 && math.Abs(want.LengthMillimetres-have.LengthMillimetres) > lengthSlack {
		text("length", decimal(want.LengthMillimetres, 2)+" mm", decimal(have.LengthMillimetres, 2)+" mm", false)
	}
	text("material", ledger.Materials.Name(want.Material), ledger.Materials.Name(have.Material), want.Material == have.Material)
	text("property class", want.PropertyClass, have.PropertyClass, sameWord(want.PropertyClass, have.PropertyClass))
	text("coating", want.Coating, have.Coating, sameWord(want.Coating, have.Coating))
	text("head", want.Head, have.Head, sameWord(want.Head, have.Head))
	return d
}

func sameWord(a, b string) bool { return a == b || folded(a) == folded(b) }

// folded takes away what people write in different ways: case, spaces, hyphens.
func folded(s string) string {
	return strings.Map(func(r rune) rune {
		if r == ' ' || r == '-' || r == '_' {
			return -1
		}
		return r
	}, strings.ToLower(s))
}

// sameThread compares designations as threads, so that M12 and M12x1.75 are one;
// those of no table as text.
func sameThread(a, b string) bool {
	if a == b {
		return true
	}
	ta, errA := bolting.ParseThread(a)
	tb, errB := bolting.ParseThread(b)
	if errA != nil || errB != nil {
		return sameWord(a, b)
	}
	return ta.Designation == tb.Designation
}
