package store_test

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// workWithFindings keeps records that break rules, at several places, and gives
// what was answered for those that count, in the order of a list.
func workWithFindings(d *diary) []store.RecordFinding {
	torque := 60.0
	tight := func(joint string, changes ...func(*ledger.Tightening)) ledger.Record {
		return storetest.NewTightening(joint, append(changes, func(r *ledger.Tightening) { r.TorqueNewtonMetres = &torque })...)
	}
	dry := func(r *ledger.Tightening) { r.Treatment = ledger.TreatmentNone }
	var want []store.RecordFinding
	told := func(r ledger.Record, joint string, outcome store.Outcome) {
		if len(outcome.Findings) == 0 {
			d.t.Fatalf("%s breaks no rule", ledger.RecordResource(r))
		}
		for _, f := range outcome.Findings {
			want = append(want, store.RecordFinding{
				Record: ledger.RecordResource(r), Joint: d.place(joint), OccurTime: r.Head().OccurTime, Person: r.Head().Person, Finding: f,
			})
		}
	}
	for _, joint := range []string{"KVR/CT1/C1/J001", structural, "RVB/CT1/C2/J001", "RVB/CT2/C1/J001", structural} {
		r := tight(joint, dry)
		told(r, joint, d.keep(r))
	}
	splice := &ledger.Sealing{Joint: d.place(seam), Sealant: "polyurethane", Splice: ledger.SpliceMidRun}
	told(splice, seam, d.keep(splice))
	mistaken := tight(structural, dry)
	d.keep(mistaken)
	replacement := tight(structural)
	replacement.Head().Offline = true
	with := &ledger.Correction{Corrects: mistaken.Head().ID, Replacement: replacement.Head().ID, With: replacement, Reason: "anti-seize was used"}
	outcome := d.keep(with)
	for _, f := range outcome.Findings {
		want = append(want, store.RecordFinding{
			Record: ledger.RecordResource(replacement), Joint: d.place(structural),
			OccurTime: replacement.Head().OccurTime, Person: replacement.Head().Person, Finding: f,
		})
	}
	slices.SortStableFunc(want, func(a, b store.RecordFinding) int { // Denver was registered before Kolkata
		return cmp.Compare(b.Joint.Site, a.Joint.Site)
	})
	return want
}

func TestFindings(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		all := workWithFindings(d)
		for name, test := range map[string]struct {
			filter store.FindingFilter
			keep   func(store.RecordFinding) bool
		}{
			"all":       {keep: func(store.RecordFinding) bool { return true }},
			"site":      {store.FindingFilter{Place: d.place("RVB")}, func(f store.RecordFinding) bool { return f.Joint.Site == "RVB" }},
			"tower":     {store.FindingFilter{Place: d.place("RVB/CT1")}, func(f store.RecordFinding) bool { return f.Joint.Site+f.Joint.Tower == "RVBCT1" }},
			"cell":      {store.FindingFilter{Place: d.place("RVB/CT1/C1")}, func(f store.RecordFinding) bool { return f.Joint.Parent() == d.place("RVB/CT1/C1") }},
			"joint":     {store.FindingFilter{Place: d.place(structural)}, func(f store.RecordFinding) bool { return f.Joint == d.place(structural) }},
			"nowhere":   {store.FindingFilter{Place: d.place(mechanical)}, func(store.RecordFinding) bool { return false }},
			"rule":      {store.FindingFilter{Rule: rules.CodeTorqueWindow}, func(f store.RecordFinding) bool { return f.Finding.Rule == rules.CodeTorqueWindow }},
			"severity":  {store.FindingFilter{Severity: rules.Warn}, func(f store.RecordFinding) bool { return f.Finding.Severity == rules.Warn }},
			"splice":    {store.FindingFilter{Place: d.place("RVB/CT1"), Rule: rules.CodeSealSplice, Severity: rules.Hold}, func(f store.RecordFinding) bool { return f.Finding.Rule == rules.CodeSealSplice }},
			"no splice": {store.FindingFilter{Place: d.place("RVB/CT2"), Rule: rules.CodeSealSplice}, func(store.RecordFinding) bool { return false }},
		} {
			t.Run(name, func(t *testing.T) {
				var want []store.RecordFinding
				for _, f := range all {
					if test.keep(f) {
						want = append(want, f)
					}
				}
				for _, size := range []int{100, 2} {
					got := inPages(t, size, func(p store.Page) ([]store.RecordFinding, string, error) { return d.s.Findings(ctx, test.filter, p) })
					if diff := gocmp.Diff(want, got); diff != "" {
						t.Errorf("in pages of %d (-answered +listed):\n%s", size, diff)
					}
				}
			})
		}
		_, _, err := d.s.Findings(ctx, store.FindingFilter{Place: d.place("RVB/CT9")}, store.Page{Size: 1})
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource, "RVB/CT9")
		for rule, expected := range map[string]string{"torque-windo": "did you mean torque-window?", "zzzzzzzzzzzz": "batch-expired, "} {
			_, _, err = d.s.Findings(ctx, store.FindingFilter{Rule: rule}, store.Page{Size: 1})
			if fields := wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField).Fields; len(fields) != 1 || fields[0].Field != "rule" || !strings.Contains(fields[0].Description, expected) {
				t.Errorf("fields %+v; expected rule with %q", fields, expected)
			}
		}
	})
}

func TestCountFindings(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		all := workWithFindings(d)
		for _, place := range []ledger.Place{{}, d.place("RVB"), d.place("RVB/CT1"), d.place("RVB/CT1/C1"), d.place(structural), d.place("KVR"), d.place(mechanical)} {
			var want []store.FindingCount
			for _, r := range rules.Table() {
				for _, severity := range []rules.Severity{rules.Note, rules.Warn, rules.Hold} {
					n := store.FindingCount{Rule: r.Code, Severity: severity}
					for _, f := range all {
						if f.Finding.Rule == r.Code && f.Finding.Severity == severity && (place == ledger.Place{} || lies(f.Joint, place)) {
							n.Findings++
						}
					}
					if n.Findings > 0 {
						want = append(want, n)
					}
				}
			}
			got, err := d.s.CountFindings(ctx, place)
			if err != nil {
				t.Fatal(err)
			}
			if diff := gocmp.Diff(want, got); diff != "" {
				t.Errorf("%v (-answered +counted):\n%s", place, diff)
			}
		}
		_, err := d.s.CountFindings(ctx, d.place("RVX"))
		wantUnknown(t, err, "sites/RVX", "RVB")
	})
}

// lies says whether a place is another or lies in it.
func lies(p, in ledger.Place) bool {
	for ; p != (ledger.Place{}); p = p.Parent() {
		if p == in {
			return true
		}
	}
	return false
}
