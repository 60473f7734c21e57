package rules

import (
	"fmt"

	"jointledger/internal/ledger"
	"jointledger/internal/sealing"
)

func sealRules() []Rule {
	return []Rule{
		{
			Code: CodeSealCold, Severities: []Severity{Hold}, Kinds: sealings, check: checkSealCold,
			Limit:    "the higher of the specification's and the sealant batch's minimum, else " + defaultMinimumTemperature.text(),
			Sentence: "Surface or air was colder than the minimum.",
		},
		{
			Code: CodeSealDew, Severities: []Severity{Hold}, Kinds: sealings, check: checkSealDew,
			Limit:    defaultDewMargin.text() + " over the dew point by the Magnus formula, " + magnus.Source.String(),
			Sentence: "The surface was too near the dew point of the air.",
		},
		{
			Code: CodeSealStaleClean, Severities: []Severity{Warn}, Kinds: sealings, check: checkSealStaleClean,
			Limit:    defaultCleanToSeal.text(),
			Sentence: "The flanges were sealed too long after they were cleaned.",
		},
		{
			Code: CodeSealWidth, Severities: []Severity{Warn}, Kinds: sealings, check: checkSealWidth,
			Limit:    "the specification's width",
			Sentence: "The sealant was laid narrower than specified.",
		},
		{
			Code: CodeSealSplice, Severities: []Severity{Hold}, Kinds: sealings, check: checkSealSplice,
			Limit:    "splices at corners alone (common practice, no source)",
			Sentence: "The sealant was spliced away from a corner.",
		},
		{
			Code: CodeBatchExpired, Severities: []Severity{Hold}, Kinds: consumers, check: checkBatchExpired,
			Limit:    "the batch's last day of shelf life, to its end at the site",
			Sentence: "The sealant or compound was past its shelf life.",
		},
		{
			Code: CodeBatchKind, Severities: []Severity{Warn}, Kinds: consumers, check: checkBatchKind,
			Limit:    "the kind of consumable that the treatment or sealant of the record is",
			Sentence: "The batch named is of another kind than the record says was used.",
		},
	}
}

// magnus is the coefficient set of the dew point.
var magnus = sealing.Sonntag1990()

// sealMinimum is the lowest temperature at which the joint may be sealed, °C.
// Specification and maker bind both, so the higher of the two counts; the custom
// of the trade stands in when neither says anything.
func (f *Facts) sealMinimum() (celsius float64, source func(*Facts) string) {
	if s := f.Specification; s != nil && s.MinimumSurfaceCelsius != nil {
		celsius, source = *s.MinimumSurfaceCelsius, (*Facts).specified
	}
	if b := f.namedBatch(); b != nil && b.MinimumCelsius != nil && (source == nil || *b.MinimumCelsius > celsius) {
		celsius, source = *b.MinimumCelsius, func(f *Facts) string { return "limits of use of batch " + f.Batch.Number }
	}
	if source == nil {
		return defaultMinimumTemperature.Limit.Value, func(*Facts) string { return defaultMinimumTemperature.Limit.Source.String() }
	}
	return celsius, source
}

func checkSealCold(f *Facts) []Finding {
	r, ok := f.sealing()
	if !ok {
		return nil
	}
	minimum, source := f.sealMinimum()
	where, coldest := "", 0.0
	for _, m := range []struct {
		where   string
		celsius *float64
	}{{"surface", r.SurfaceCelsius}, {"air", r.AirCelsius}} {
		if m.celsius != nil && below(*m.celsius, minimum) && (where == "" || *m.celsius < coldest) {
			where, coldest = m.where, *m.celsius
		}
	}
	if where == "" {
		return nil
	}
	shown, shownLimit := apart(coldest, minimum)
	return one(Finding{
		Message: fmt.Sprintf("The %s was at %s °C, below the minimum of %s °C for sealing.", where, shown, shownLimit),
		Source:  source(f),
	}.against(coldest, minimum, "°C"))
}

// checkSealDew needs all three readings. The air's temperature never stands in
// for the surface's: sheet steel is colder than the air at night, warmer in sun.
func checkSealDew(f *Facts) []Finding {
	r, ok := f.sealing()
	if !ok || r.AirCelsius == nil || r.SurfaceCelsius == nil || r.HumidityPercent == nil {
		return nil
	}
	surface := sealing.Celsius(*r.SurfaceCelsius)
	margin, err := magnus.SurfaceMargin(sealing.Conditions{
		Air: sealing.Celsius(*r.AirCelsius), Surface: &surface, Humidity: sealing.Percent(*r.HumidityPercent),
	})
	limit := defaultDewMargin.Limit
	if err != nil || !below(float64(margin), limit.Value) {
		return nil
	}
	shown, shownLimit := apart(float64(margin), limit.Value)
	return one(Finding{
		Message: fmt.Sprintf("The surface was %s °C over the dew point of %s °C (air %s °C, %s %% relative humidity); at least %s °C are needed.",
			shown, decimal(float64(surface-margin), 2), decimal(*r.AirCelsius, 2), decimal(*r.HumidityPercent, 2), shownLimit),
		Source: limit.Source.String() + "; dew point: " + magnus.Source.String(),
	}.against(float64(margin), limit.Value, "°C"))
}

func checkSealStaleClean(f *Facts) []Finding {
	r, ok := f.sealing()
	if !ok || r.CleanTime.IsZero() {
		return nil
	}
	limit := defaultCleanToSeal.Limit
	hours := r.OccurTime.Sub(r.CleanTime).Hours()
	if !above(hours, limit.Value) {
		return nil
	}
	shown, shownLimit := apart(hours, limit.Value)
	return one(Finding{
		Message: fmt.Sprintf("The flanges were sealed %s h after cleaning; after %s h they are to be wiped again.", shown, shownLimit),
		Source:  limit.Source.String(),
	}.against(hours, limit.Value, "h"))
}

func checkSealWidth(f *Facts) []Finding {
	r, ok := f.sealing()
	s := f.Specification
	if !ok || s == nil || r.WidthMillimetres <= 0 || s.SealWidthMillimetres <= 0 || !below(r.WidthMillimetres, s.SealWidthMillimetres) {
		return nil
	}
	shown, shownLimit := apart(r.WidthMillimetres, s.SealWidthMillimetres)
	return one(Finding{
		Message: fmt.Sprintf("The sealant was laid %s mm wide; specified are %s mm.", shown, shownLimit),
		Source:  f.specified(),
	}.against(r.WidthMillimetres, s.SealWidthMillimetres, "mm"))
}

func checkSealSplice(f *Facts) []Finding {
	r, ok := f.sealing()
	if !ok || r.Splice != ledger.SpliceMidRun {
		return nil
	}
	return one(Finding{Message: "The sealant was spliced in mid-run, away from a corner.", Source: "common practice, no source"})
}
