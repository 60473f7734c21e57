package rules

import (
	"strings"

	"jointledger/internal/bolting"
	"jointledger/internal/ledger"
)

// nutFactor is a nut factor with its source; low and high are its published
// range, both 0 when none is published.
type nutFactor struct {
	value, low, high bolting.NutFactor
	source           string
}

// assumedFactor is the nut factor that the specified torque was worked out with:
// the specification's own, or the published one for its fastener and basis.
func assumedFactor(s *ledger.Specification) (nutFactor, bool) {
	if s.NutFactor > 0 {
		return nutFactor{value: bolting.NutFactor(s.NutFactor), source: "the specification"}, true
	}
	treatment := s.Treatment
	if basis, known := threadBasis(treatment); !known || basis != s.TorqueBasis {
		treatment = map[ledger.TorqueBasis]ledger.Treatment{
			ledger.BasisDry: ledger.TreatmentNone, ledger.BasisLubricated: ledger.TreatmentOtherLubricant,
		}[s.TorqueBasis]
	}
	return publishedFactor(s.Fastener, treatment)
}

// publishedFactor is the default nut factor of a fastener under a treatment;
// false where none is published.
func publishedFactor(fastener ledger.Fastener, treatment ledger.Treatment) (nutFactor, bool) {
	condition, ok := threadCondition(fastener, treatment)
	if !ok {
		return nutFactor{}, false
	}
	d, err := bolting.DefaultNutFactor(condition)
	return nutFactor{d.Typical, d.Low, d.High, string(condition) + ", " + d.Source.String()}, err == nil
}

// finish is what the surface of a fastener is made of, as far as published nut
// factors tell surfaces apart.
type finish uint8

const (
	finishPlain finish = iota + 1
	finishStainless
	finishHotDip
	finishZinc
	finishCadmium
	finishPhosphate
)

// finishOf reads material and coating. Galvanised steel is taken as hot-dipped
// unless its coating says electroplated.
func finishOf(fastener ledger.Fastener) (finish, bool) {
	coating := strings.ToLower(fastener.Coating)
	switch fastener.Material {
	case ledger.Stainless304, ledger.Stainless316:
		return finishStainless, true
	case ledger.GalvanizedSteel, ledger.CarbonSteel:
	default:
		return 0, false
	}
	for _, c := range []struct {
		word string
		finish
	}{
		{"hot", finishHotDip}, {"electro", finishZinc}, {"zinc", finishZinc}, {"galvan", finishHotDip},
		{"cadmium", finishCadmium}, {"phosphate", finishPhosphate},
	} {
		if strings.Contains(coating, c.word) {
			return c.finish, true
		}
	}
	if fastener.Material == ledger.GalvanizedSteel {
		return finishHotDip, true
	}
	return finishPlain, true
}

// threadConditions names, for each surface, the published condition of dry
// threads, of threads with anti-seize and of threads with another lubricant;
// empty where nothing is published.
var threadConditions = map[finish][3]bolting.Condition{
	finishPlain:     {bolting.PlainDry, bolting.AntiSeizeSteel, bolting.MachineOil},
	finishStainless: {bolting.StainlessDry, bolting.AntiSeizeStainless, ""},
	finishHotDip:    {bolting.HotDipDry, bolting.AntiSeizeSteel, bolting.HotDipLubricated},
	finishZinc:      {bolting.ZincDry, bolting.AntiSeizeSteel, bolting.MachineOil},
	finishCadmium:   {bolting.Cadmium, bolting.AntiSeizeSteel, bolting.MachineOil},
	finishPhosphate: {"", bolting.AntiSeizeSteel, bolting.PhosphateOil},
}

func threadCondition(fastener ledger.Fastener, treatment ledger.Treatment) (bolting.Condition, bool) {
	surface, ok := finishOf(fastener)
	if !ok {
		return "", false
	}
	column := 0
	switch treatment {
	case ledger.TreatmentNone, ledger.TreatmentPrevailingTorqueNut:
	case ledger.TreatmentAntiSeize:
		column = 1
	case ledger.TreatmentOtherLubricant:
		column = 2
	default:
		return "", false
	}
	condition := threadConditions[surface][column]
	return condition, condition != ""
}
