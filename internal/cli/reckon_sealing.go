package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/quantity"
	"jointledger/internal/sealing"
)

// limitOptions are the flags of what conditions are judged by.
type limitOptions struct {
	set                  string
	least, greatest      quantity.Entry[quantity.Temperature, quantity.TemperatureUnit]
	margin, mostHumidity float64
}

func coefficientSets() []string {
	var names []string
	for _, c := range sealing.CoefficientSets() {
		names = append(names, c.Name)
	}
	return names
}

func (o *limitOptions) flags(f *fields) {
	o.margin = float64(sealing.MinimumDewMargin)
	f.bind("coefficients", "", "SET", "set of coefficients of the Magnus formula: "+strings.Join(coefficientSets(), ", ")+"; the first when not given", func(text string) error {
		c, err := sealing.SetNamed(text)
		if err == nil {
			o.set = c.Name
		}
		return err
	})
	mustComplete(f.cmd, "coefficients", coefficientSets())
	temperatureFlag(f, &o.least, "min-temperature", fmt.Sprintf("lowest temperature of air and surface; %s C when not given", rounded(float64(sealing.MinimumTemperature), 1)))
	temperatureFlag(f, &o.greatest, "max-temperature", "highest temperature of air and surface; not judged when not given")
	f.bind("min-margin", "", "DEGREES", fmt.Sprintf("least margin of the surface over the dew point in degrees Celsius; %s when not given", rounded(o.margin, 1)), func(text string) error {
		v, problem := csvfile.ParseNumber(text)
		if problem == "" && v < 0 {
			problem = "expected at least 0, got " + text
		}
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		o.margin = v
		return nil
	})
	percentFlag(f, &o.mostHumidity, "max-humidity", "highest relative humidity in percent; not judged when not given")
}

// coefficients is the set that was chosen.
func (o *limitOptions) coefficients() (sealing.Coefficients, error) {
	if o.set == "" {
		return sealing.CoefficientSets()[0], nil
	}
	c, err := sealing.SetNamed(o.set)
	if err != nil {
		return c, blame("coefficients", err)
	}
	return c, nil
}

func (o *limitOptions) limits() sealing.Limits {
	l := sealing.DefaultLimits()
	if o.least.Text != "" {
		l.MinimumTemperature = sealing.Celsius(o.least.Quantity)
	}
	if o.greatest.Text != "" {
		l.MaximumTemperature = sealing.Celsius(o.greatest.Quantity)
	}
	l.MinimumDewMargin = sealing.Celsius(o.margin)
	l.MaximumHumidity = sealing.Percent(o.mostHumidity)
	return l
}

// tell adds the limits, with their sources where they are the defaults.
func (o *limitOptions) tell(r *reckoning, l sealing.Limits) {
	r.add("minimum_temperature_celsius", "lowest temperature", float64(l.MinimumTemperature), celsius(l.MinimumTemperature))
	r.add("minimum_margin_celsius", "least margin", float64(l.MinimumDewMargin), degrees(l.MinimumDewMargin))
	for _, d := range sealing.LimitTable() {
		if d.Key == "minimum-temperature" && o.least.Text == "" || d.Key == "minimum-dew-margin" && d.Limit.Value == o.margin {
			r.sources = append(r.sources, fmt.Sprintf("%s %s %s: %s", strings.ReplaceAll(d.Key, "-", " "), rounded(d.Limit.Value, 1), d.Limit.Unit, d.Limit.Source))
		}
	}
	if l.MaximumTemperature != 0 {
		r.add("maximum_temperature_celsius", "highest temperature", float64(l.MaximumTemperature), celsius(l.MaximumTemperature))
	}
	if l.MaximumHumidity != 0 {
		r.add("maximum_humidity_percent", "highest humidity", float64(l.MaximumHumidity), rounded(float64(l.MaximumHumidity), 1)+" %")
	}
}

func tellCoefficients(r *reckoning, c sealing.Coefficients) {
	r.add("coefficients", "coefficients", c.Name, "")
	r.formula = append(r.formula, fmt.Sprintf("dew point = b·g/(a − g) with g = ln(RH/100) + a·T/(b + T), a = %s, b = %s °C (Magnus)", rounded(c.A, 4), rounded(c.B, 3)))
	r.sources = append(r.sources, sourced(c.Source)...)
	if c.Note != "" {
		r.remarks = append(r.remarks, c.Name+": "+c.Note)
	}
}

// celsius writes a temperature in both units, degrees a difference.
func celsius(t sealing.Celsius) string {
	q := quantity.Temperature(t)
	return q.Format(quantity.DegreeCelsius) + " = " + q.Format(quantity.DegreeFahrenheit)
}

func degrees(d sealing.Celsius) string { return rounded(float64(d), 2) + " °C" }

// dewPointOptions are the flags of `reckon dewpoint`.
type dewPointOptions struct {
	f *fields
	limitOptions
	air, surface quantity.Entry[quantity.Temperature, quantity.TemperatureUnit]
	humidity     float64
}

func (a *app) reckonDewPoint() *cobra.Command {
	o := &dewPointOptions{}
	cmd := a.command("dewpoint", "Dew point, and whether a surface may be sealed",
		"With --surface, the margin of the surface over the dew point and the verdict on the\nlimits. Measure the surface: at night sheet steel is colder than the air.")
	cmd.Example = "  trackctl reckon dewpoint --air 10C --humidity 90\n  trackctl reckon dewpoint --air 50F --humidity 90 --surface 52F"
	o.f = newFields(cmd)
	temperatureFlag(o.f, &o.air, "air", "temperature of the air")
	percentFlag(o.f, &o.humidity, "humidity", "relative humidity in percent, above 0 and up to 100")
	temperatureFlag(o.f, &o.surface, "surface", "temperature of the surface, measured")
	o.limitOptions.flags(o.f)
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

func (o *dewPointOptions) reckon() (*reckoning, error) {
	if err := o.f.require("air", "humidity"); err != nil {
		return nil, err
	}
	c, err := o.coefficients()
	if err != nil {
		return nil, err
	}
	conditions := sealing.Conditions{Air: sealing.Celsius(o.air.Quantity), Humidity: sealing.Percent(o.humidity)}
	if o.surface.Text != "" {
		surface := sealing.Celsius(o.surface.Quantity)
		conditions.Surface = &surface
	}
	limits := o.limits()
	verdict, err := c.Assess(conditions, limits)
	if err != nil {
		return nil, blameRange(err, "air", map[string]string{"relative humidity": "humidity", "surface temperature": "surface"})
	}
	r := &reckoning{}
	r.warn(sealing.Cautions())
	r.add("air_celsius", "air", float64(conditions.Air), celsius(conditions.Air)+", typed as "+o.air.Text)
	r.add("humidity_percent", "humidity", o.humidity, rounded(o.humidity, 2)+" %")
	r.add("dew_point_celsius", "dew point", float64(verdict.DewPoint), celsius(verdict.DewPoint))
	tellCoefficients(r, c)
	if conditions.Surface == nil {
		r.remarks = append(r.remarks, "give --surface, measured at the joint, for the margin over the dew point and the verdict")
		return r, nil
	}
	r.add("surface_celsius", "surface", float64(verdict.Surface), celsius(verdict.Surface)+", typed as "+o.surface.Text)
	r.add("margin_celsius", "margin over the dew point", float64(verdict.Margin), degrees(verdict.Margin))
	o.limitOptions.tell(r, limits)
	reasons := []string{}
	for _, reason := range verdict.Reasons {
		reasons = append(reasons, reason.String())
	}
	r.add("may_seal", "sealing", verdict.Go(), verdictText(reasons))
	r.keep("reasons", reasons)
	return r, nil
}

func verdictText(reasons []string) string {
	if len(reasons) == 0 {
		return "nothing stands against it"
	}
	return "wait: " + strings.Join(reasons, "; ")
}
