package ledger_test

import (
	"slices"
	"strings"
	"testing"

	"jointledger/internal/ledger"
)

// checkWords reads every word of a list in several spellings.
func checkWords[T ~uint8](t *testing.T, list ledger.Words[T], want string) {
	t.Helper()
	if got := strings.Join(list.All(), " "); got != want {
		t.Errorf("%s: %q; expected %q", list.What(), got, want)
	}
	for i, word := range list.All() {
		v := T(i + 1)
		if list.Name(v) != word || !list.Known(v) {
			t.Errorf("%s %d is %q, known %t; expected %q", list.What(), v, list.Name(v), list.Known(v), word)
		}
		for _, spelling := range []string{word, strings.ToUpper(word), " " + word + "\t", strings.ReplaceAll(word, "-", "_"), strings.ReplaceAll(word, "-", " ")} {
			if got, err := list.Parse(spelling); err != nil || got != v {
				t.Errorf("%s %q is %d, %v; expected %d", list.What(), spelling, got, err, v)
			}
		}
	}
	last := T(len(list.All()))
	for _, v := range []T{0, last + 1, 255} {
		if list.Known(v) || list.Name(v) != "" {
			t.Errorf("%s %d is %q", list.What(), v, list.Name(v))
		}
	}
	for _, word := range []string{"", "-", "no such word", "\x00"} {
		if v, err := list.Parse(word); err == nil || v != 0 || !strings.Contains(err.Error(), list.What()) || !strings.Contains(err.Error(), list.All()[0]) {
			t.Errorf("%s %q is %d, %v; expected an error that names what is allowed", list.What(), word, v, err)
		}
	}
	all := list.All()
	all[0] = "changed"
	if list.All()[0] == "changed" {
		t.Errorf("a caller can change the words of %s", list.What())
	}
}

// TestWords pins the words and their numbers: both are kept in databases, and the
// words in chains.
func TestWords(t *testing.T) {
	t.Parallel()
	checkWords(t, ledger.SiteStatuses, "planned active closed")
	checkWords(t, ledger.UnitPreferences, "si us-customary")
	checkWords(t, ledger.Materials, "galvanized-steel 304 316 fibre-reinforced carbon-steel silicon-bronze")
	checkWords(t, ledger.JointKinds, "structural mechanical seam")
	checkWords(t, ledger.Treatments, "none anti-seize thread-locking-compound prevailing-torque-nut other-lubricant")
	checkWords(t, ledger.LockingMethods, "none prevailing-torque-nut thread-locking-compound lock-washer jam-nut")
	checkWords(t, ledger.TorqueBases, "dry lubricated")
	checkWords(t, ledger.Passes, "first final re-tightening")
	checkWords(t, ledger.DrivingMethods, "hand impact impact-then-torque-tool nutrunner")
	checkWords(t, ledger.IncidentKinds, "galling seized stripped-tapping-screw stripped-thread crossed-thread broken-fastener misaligned-hole seal-gap leak coating-damage dropped-tool near-miss")
	checkWords(t, ledger.LotStates, "released quarantined used-up")
	checkWords(t, ledger.MovementKinds, "received sent returned scrapped counted")
	checkWords(t, ledger.ToolKinds, "torque-wrench torque-screwdriver torque-multiplier impact-wrench dial-indicator angle-protractor thermo-hygrometer hoist sling harness scaffold")
	checkWords(t, ledger.CalibrationPhases, "as-found as-left")
	checkWords(t, ledger.Roles, "technician crib site-lead quality regional-manager administrator")
	checkWords(t, ledger.RecordKinds, "tightening incident calibration lot-movement sealing inspection custody hold disposition sign-off correction tool-check alarm")
	checkWords(t, ledger.AlarmGroupings, "lot site")
	checkWords(t, ledger.AlarmTests, "cusum sprt")
	checkWords(t, ledger.PolicyActions, "calibration periodic-inspection proof-test pre-use-check")
	checkWords(t, ledger.CalibrationDocuments, "declaration-of-conformance calibration-certificate")
	checkWords(t, ledger.DecisionRules, "simple-acceptance guard-band managed-guard-band")
	checkWords(t, ledger.Verdicts, "pass conditional-pass conditional-fail fail")
	checkWords(t, ledger.Splices, "none corner mid-run")
	checkWords(t, ledger.InspectionKinds, "torque-audit leak-test visual")
	checkWords(t, ledger.InspectionResults, "pass fail")
	checkWords(t, ledger.CustodyKinds, "issued returned sent received lost dropped overloaded repaired")
	checkWords(t, ledger.HoldActions, "placed released")
	checkWords(t, ledger.Decisions, "rework repair use-as-is scrap")
	checkWords(t, ledger.SignOffPoints, "hold-point witness-point")
	checkWords(t, ledger.ConsumableKinds, "anti-seize thread-locking-compound strip-sealant gun-grade-sealant solvent lubricant")
}

func TestWordsOfOtherSpellings(t *testing.T) {
	t.Parallel()
	for word, want := range map[string]ledger.Material{"galvanised-steel": ledger.GalvanizedSteel, "Fiber Reinforced": ledger.FibreReinforced} {
		if got, err := ledger.Materials.Parse(word); err != nil || got != want {
			t.Errorf("%q is %d, %v; expected %d", word, got, err, want)
		}
	}
	if got, err := ledger.Passes.Parse("Retightening"); err != nil || got != ledger.PassRetightening {
		t.Errorf("retightening is %d, %v", got, err)
	}
	for word, want := range map[string]ledger.IncidentKind{"galled": ledger.Galling, "cross-threaded": ledger.CrossedThread} {
		if got, err := ledger.IncidentKinds.Parse(word); err != nil || got != want {
			t.Errorf("%q is %d, %v; expected %d", word, got, err, want)
		}
	}
	_, err := ledger.Treatments.Parse("anti-sieze")
	if want := `"anti-sieze" is not a thread treatment (did you mean anti-seize?); expected one of none, anti-seize, thread-locking-compound, prevailing-torque-nut, other-lubricant`; err == nil || err.Error() != want {
		t.Errorf("%v; expected %s", err, want)
	}
	if _, err := ledger.Treatments.Parse("grease, plenty"); err == nil || strings.Contains(err.Error(), "did you mean") {
		t.Errorf("%v; nothing is near", err)
	}
	own := ledger.NewWords[ledger.Pass]("thing", "one", "two")
	checkWords(t, own, "one two")
}

// TestThreadFailures holds the two ways of asking to one list (kinds of incident
// that are failed attempts: galling to broken fastener).
func TestThreadFailures(t *testing.T) {
	t.Parallel()
	var failures []string
	for i := range len(ledger.IncidentKinds.All()) + 2 {
		if k := ledger.IncidentKind(i); k.ThreadFailure() {
			failures = append(failures, ledger.IncidentKinds.Name(k))
		}
	}
	want := strings.Fields("galling seized stripped-tapping-screw stripped-thread crossed-thread broken-fastener")
	if !slices.Equal(failures, want) {
		t.Errorf("%v; expected %v", failures, want)
	}
	var listed []string
	for _, k := range ledger.ThreadFailures() {
		listed = append(listed, ledger.IncidentKinds.Name(k))
	}
	if !slices.Equal(listed, want) {
		t.Errorf("%v; expected %v", listed, want)
	}
	for m := range ledger.Material(9) {
		if got, want := m.Stainless(), m == ledger.Stainless304 || m == ledger.Stainless316; got != want {
			t.Errorf("%s is stainless: %t", ledger.Materials.Name(m), got)
		}
	}
}

func FuzzWords(f *testing.F) {
	for _, seed := range []string{"anti-seize", "ANTI_SEIZE", " none ", "", "\xff", "anti\u2010seize", strings.Repeat("x", 1000)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, word string) {
		v, err := ledger.Treatments.Parse(word)
		if (err == nil) != ledger.Treatments.Known(v) {
			t.Errorf("%q is %d, %v", word, v, err)
		}
		if err == nil {
			if again, err := ledger.Treatments.Parse(ledger.Treatments.Name(v)); err != nil || again != v {
				t.Errorf("%q is %d, whose word is read as %d, %v", word, v, again, err)
			}
		}
	})
}
