package bolting_test

import (
	"strings"
	"testing"

	"jointledger/internal/bolting"
)

// A refusal names what was asked for and what there is instead.
func TestErrorMessages(t *testing.T) {
	half := thread(t, "1/2-13")
	messages := map[string]error{}
	_, messages["class"] = bolting.StrengthFor("12.9", half)
	_, messages["size"] = bolting.StrengthFor("8.8", half)
	_, messages["ring"] = bolting.RingFor(half)
	_, messages["method"] = bolting.MethodByKey("guess")
	_, messages["proof"] = strength(t, "F593C", half).ProofLoad(half)
	_, messages["yield"] = strength(t, "A307 A", half).YieldLoad(half)
	_, messages["basis"] = bolting.Target{Thread: half, Strength: strength(t, "Grade 5", half), Basis: "tensile", Fraction: 0.5, NutFactor: 0.2}.Tightening()
	for key, want := range map[string]string{
		"class":  `no property class or grade "12.9"; there are 8.8, 10.9, A2-50`,
		"size":   "8.8 has no value for 1/2-13 UNC; it has values for d <= 16 mm (metric), 16 mm < d <= 39 mm (metric); for 1/2-13 UNC there are Grade 2, Grade 5, Grade 8",
		"ring":   "no default bearing ring for 1/2-13 UNC: give the outer diameter and the hole; there are defaults for M8, M10",
		"method": `no published scatter for tightening method "guess"; there are torque-dry, torque-lubricated`,
		"proof":  "the standard gives no proof load for F593C: take a fraction of the yield stress instead",
		"yield":  "the standard gives no yield stress for A307 Grade A",
		"basis":  `no basis "tensile" for a target preload; there are "proof load" and "yield"`,
	} {
		if err := messages[key]; err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: %v, want %s…", key, err, want)
		}
	}
}

func TestStrengthsIsACopy(t *testing.T) {
	rows := bolting.Strengths()
	for _, s := range rows {
		if s.Tensile <= 0 || s.Yield > s.Tensile || s.Proof > s.Tensile || s.Sizes.From > s.Sizes.To {
			t.Errorf("impossible row %+v", s)
		}
	}
	rows[0].Proof = 1
	if bolting.Strengths()[0].Proof == 1 {
		t.Error("the table was changed from outside")
	}
}

func TestPreloadTurnedRound(t *testing.T) {
	_, err := bolting.NutFactor(0).Preload(10, 12)
	wantRangeError(t, err, "nut factor")
	_, err = bolting.NutFactor(0.2).Preload(10, 0)
	wantRangeError(t, err, "nominal diameter")
	_, err = bolting.NutFactor(0.2).Torque(10, -1)
	wantRangeError(t, err, "nominal diameter")
	_, err = bolting.Scatter(0, 0.25)
	wantRangeError(t, err, "preload")
	_, err = bolting.LeastPreload(0, 1.5)
	wantRangeError(t, err, "largest preload")
	m12 := thread(t, "M12")
	_, err = bolting.Assembly{Thread: m12, ThreadFriction: 0.1, Utilisation: 0.9}.MaximumPreload()
	wantRangeError(t, err, "yield stress")
	_, err = bolting.Assembly{Thread: m12, Yield: 640, ThreadFriction: -0.1, Utilisation: 0.9}.MaximumPreload()
	wantRangeError(t, err, "thread friction")
	_, err = bolting.TotalFriction(m12, bolting.BearingRing{}, 50, 20000)
	wantRangeError(t, err, "clearance hole")
}
