package analysis_test

import (
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

func TestSameCertificate(t *testing.T) {
	type given struct{ tool, laboratory, number string }
	for name, tt := range map[string]struct {
		a, b given
		want bool
	}{
		"letter by letter":            {given{"T1", "Fell", "FM-118"}, given{"T2", "Fell", "FM-118"}, true},
		"capitals and spaces":         {given{"T1", "Fell Metrology", "FM-118"}, given{"T2", "FELL  metrology ", "fm -118"}, true},
		"no-break and wide spaces":    {given{"T1", "Fell", "FM 118"}, given{"T1", "Fell", "FM\u00a0\u3000118"}, true},
		"Greek, with its final sigma": {given{"T1", "Εργαστήριος", "ΑΒΣ-1"}, given{"T1", "ΕΡΓΑΣΤΉΡΙΟΣ", "αβς-1"}, true},
		"Cyrillic":                    {given{"T1", "Лаб", "Ж-7"}, given{"T1", "ЛАБ", "ж-7"}, true},
		"the kelvin sign is a K":      {given{"T1", "Fell", "\u212a-1"}, given{"T1", "Fell", "k-1"}, true},
		"a dash is a hyphen":          {given{"T1", "Fell", "FM-118"}, given{"T1", "Fell", "FM\u2013118"}, true},
		"a minus is a hyphen":         {given{"T1", "Fell", "FM-118"}, given{"T1", "Fell", "FM\u2212118"}, true},
		"full width":                  {given{"T1", "Fell", "fm-118"}, given{"T1", "Fell", "\uff26\uff2d\uff0d\uff11\uff11\uff18"}, true},
		"what is not seen":            {given{"T1", "Fell", "FM-118"}, given{"T1", "Fell", "FM-\u200b1\u00ad18"}, true},
		"another number":              {given{"T1", "Fell", "FM-118"}, given{"T1", "Fell", "FM-119"}, false},
		"a hyphen is no space":        {given{"T1", "Fell", "FM-118"}, given{"T1", "Fell", "FM118"}, false},
		"another laboratory":          {given{"T1", "Fell", "118"}, given{"T1", "Brackley", "118"}, false},
		"unknown, same tool":          {given{"T1", "", "118"}, given{"T1", "Brackley", "118"}, true},
		"blank, same tool":            {given{"T1", "Brackley", "118"}, given{"T1", " ", "118"}, true},
		"unknown, another tool":       {given{"T1", "", "118"}, given{"T2", "", "118"}, false},
		"no number":                   {given{"T1", "Fell", " "}, given{"T1", "Fell", ""}, false},
	} {
		calibration := func(g given) *ledger.Calibration {
			return &ledger.Calibration{Tool: g.tool, Laboratory: g.laboratory, Certificate: g.number}
		}
		a, b := calibration(tt.a), calibration(tt.b)
		if analysis.SameCertificate(a, b) != tt.want || analysis.SameCertificate(b, a) != tt.want {
			t.Errorf("%s: not %v both ways", name, tt.want)
		}
	}
}
