package analysis

import (
	"fmt"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// Air temperature at which torque tools are calibrated, °C (ISO 6789, 18 to
// 28 °C, seen).
const coldestAir, warmestAir = 18.0, 28.0

// deficiencies say in plain words what the standard asks for and a calibration
// lacks. Readings and test points are asked of every calibration; uncertainty of
// all but a declaration of conformance (without it a calibration is refused now, and
// those kept before say it); what ISO 6789-2:2017 asks besides, of a calibration
// certificate.
func deficiencies(tool ledger.Tool, c *ledger.Calibration, class metrology.ToolClass, a metrology.Assessment, phases ...phaseOfReadings) []string {
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	switch c.Document {
	case ledger.DeclarationOfConformance:
		add("A declaration of conformance says that tools of its type conform (ISO 6789-1:2017); it is no calibration certificate (ISO 6789-2:2017), and starts the interval of a new tool only.")
	case ledger.CalibrationCertificate:
	default:
		add("Nobody said whether the document is a calibration certificate (ISO 6789-2:2017) or a declaration of conformance (ISO 6789-1:2017).")
	}
	if tool.MinimumNewtonMetres == 0 && class.Adjustment != metrology.Fixed {
		add("The lowest torque of the tool's scale is not on record, so nobody can tell whether it was tested there.")
	}
	for i, assessed := range []metrology.PhaseAssessment{a.AsFound, a.AsLeft} {
		list = append(list, phases[i].deficiencies(c, class, assessed)...)
		for _, p := range assessed.Points {
			if p.UncertaintyPercent > a.LimitPercent {
				add("The expanded uncertainty %s at %g N.m, %.3g %%, is more than the limit, %g %%: such readings can't tell pass from fail.", phaseWords[phases[i].phase], p.Target, p.UncertaintyPercent, a.LimitPercent)
			}
		}
	}
	if c.Document == ledger.CalibrationCertificate {
		list = append(list, certificateDeficiencies(c, a)...)
	}
	return list
}

// deficiencies of one phase.
func (p phaseOfReadings) deficiencies(c *ledger.Calibration, class metrology.ToolClass, a metrology.PhaseAssessment) []string {
	if len(p.given) == 0 {
		return nil
	}
	var few, bare, idle, missing []string
	for _, point := range p.given {
		if n := len(point.ReadingsNewtonMetres); n < class.Readings {
			few = append(few, fmt.Sprintf("%d at %g N.m", n, point.TargetNewtonMetres))
		}
		if point.ExpandedUncertaintyNewtonMetres == 0 {
			bare = append(bare, fmt.Sprintf("%g N.m", point.TargetNewtonMetres))
		}
	}
	for _, target := range p.idle {
		idle = append(idle, fmt.Sprintf("%g N.m", target))
	}
	for _, target := range p.untested(a) {
		missing = append(missing, fmt.Sprintf("%g N.m", target))
	}
	phase := phaseWords[p.phase]
	var list []string
	say := func(format string, at []string, args ...any) {
		if len(at) > 0 {
			list = append(list, fmt.Sprintf(format, append(args, strings.Join(at, ", "))...))
		}
	}
	say("A reading showed no torque at all %s, at %s.", idle, phase)
	say("Fewer readings %s than the %d at a test point that ISO 6789 asks of %s: %s.", few, phase, class.Readings, class.Code())
	say("No test point %s at %s.", missing, phase)
	if c.Document != ledger.DeclarationOfConformance {
		say("No expanded uncertainty %s at %s.", bare, phase)
	}
	return list
}

// untested are the test points of the standard at which there is no reading, not
// even one of no torque.
func (p phaseOfReadings) untested(a metrology.PhaseAssessment) []float64 {
	var missing []float64
	for _, want := range a.MissingTestPoints {
		there := false
		for _, target := range p.idle {
			there = there || target == want
		}
		if !there {
			missing = append(missing, want)
		}
	}
	return missing
}

// certificateDeficiencies are of what a calibration certificate states besides
// its readings.
func certificateDeficiencies(c *ledger.Calibration, a metrology.Assessment) []string {
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	for _, p := range c.Points {
		if p.CoverageFactor == 0 && p.ExpandedUncertaintyNewtonMetres > 0 {
			add("No coverage factor is stated with the expanded uncertainty; k = 2 was taken.")
			break
		}
	}
	switch d := a.Device; {
	case !d.Stated:
		add("The expanded uncertainty of the measuring device is not stated; at most %g %% is allowed, a quarter of the limit.", d.AllowedPercent)
	case !d.Adequate:
		add("The expanded uncertainty of the measuring device, %g %%, is more than the %g %% allowed, a quarter of the limit.", d.UncertaintyPercent, d.AllowedPercent)
	}
	switch air := c.AirCelsius; {
	case air == nil:
		add("The air temperature during the calibration is not stated; expected %g to %g °C.", coldestAir, warmestAir)
	case *air < coldestAir || *air > warmestAir:
		add("The air temperature during the calibration, %g °C, lies outside %g to %g °C.", *air, coldestAir, warmestAir)
	}
	if c.Laboratory == "" {
		add("The laboratory is not named.")
	}
	if c.Certificate == "" {
		add("The number of the certificate is not given.")
	}
	return list
}
