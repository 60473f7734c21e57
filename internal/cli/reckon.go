package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/metrology"
	"jointledger/internal/quantity"
)

// newReckonCommand makes the calculators of the trade, which need no server.
func newReckonCommand(a *app) *cobra.Command {
	cmd := group("reckon", "Calculators of the trade, without a server",
		a.reckonTorque(), a.reckonPreload(), a.reckonScatter(), a.reckonWrongBasis(), a.reckonAdapter(),
		a.reckonDewPoint(), a.reckonSealingWindow(), a.reckonSample(), a.reckonInterval())
	cmd.Long = "Calculators of the trade. They ask no server. Quantities are typed with their unit,\n" +
		"such as \"150 lbf.ft\" or 38F; each answer shows its formula, where its figures come\n" +
		"from, and what to mind. JSON has SI units in the names of the figures, at full\n" +
		"precision.\n\n" + caution
	return cmd
}

// calculate is the work of a calculator.
type calculate func(args []string) (*reckoning, error)

// reckons gives a command the work of a calculator.
func (a *app) reckons(cmd *cobra.Command, work calculate) *cobra.Command {
	return a.runs(cmd, func(_ context.Context, args []string) error {
		r, err := work(args)
		if err != nil {
			return err
		}
		return r.tell(a.config())
	})
}

// blame says with which flag something is wrong.
func blame(flag string, err error) *failure {
	var f *failure
	if errors.As(err, &f) {
		return f
	}
	return usage("--%s: %v", flag, err)
}

// blameRange finds the flag of a value that is out of range by the field that the
// error names; what no flag is named for falls to the one given first.
func blameRange(err error, flag string, fields map[string]string) *failure {
	var r *metrology.RangeError
	if errors.As(err, &r) {
		if named, ok := fields[r.Field]; ok {
			flag = named
		}
	}
	return blame(flag, err)
}

// quantityFlag makes a flag of a quantity and keeps what was typed.
func quantityFlag[Q ~float64, U ~uint8](f *fields, dst *quantity.Entry[Q, U], name, kind, help string, read func(string, U) (quantity.Entry[Q, U], error)) {
	f.bind(name, "", kind, help, func(text string) error {
		e, err := read(text, 0)
		if err == nil {
			*dst = e
		}
		return err
	})
}

func torqueFlag(f *fields, dst *quantity.Entry[quantity.Torque, quantity.TorqueUnit], name, help string) {
	quantityFlag(f, dst, name, "TORQUE", help+", such as \"32 N.m\" or \"24 lbf.ft\"", quantity.ReadTorque)
}

func lengthFlag(f *fields, dst *quantity.Entry[quantity.Length, quantity.LengthUnit], name, help string) {
	quantityFlag(f, dst, name, "LENGTH", help+", such as \"30 mm\" or \"1-1/4 in\"", quantity.ReadLength)
}

func forceFlag(f *fields, dst *quantity.Entry[quantity.Force, quantity.ForceUnit], name, help string) {
	quantityFlag(f, dst, name, "FORCE", help+", such as \"36.7 kN\" or \"9046 lbf\"", quantity.ReadForce)
}

func temperatureFlag(f *fields, dst *quantity.Entry[quantity.Temperature, quantity.TemperatureUnit], name, help string) {
	quantityFlag(f, dst, name, "TEMPERATURE", help+", such as 10C or 50F", quantity.ReadTemperature)
}

// percentFlag makes a flag of a percentage, typed with its sign or without.
func percentFlag(f *fields, dst *float64, name, help string) {
	f.bind(name, "", "PERCENT", help, func(text string) error {
		v, problem := csvfile.ParseNumber(strings.TrimSpace(strings.TrimSuffix(text, "%")))
		if problem != "" {
			return errors.New(problem)
		}
		*dst = v
		return nil
	})
}

// countFlag makes a flag of a whole number of at least least.
func countFlag(f *fields, dst *int64, name string, least int64, help string) {
	f.bind(name, "", "N", help, func(text string) error {
		v, err := parseWhole(text)
		if err == nil && v < least {
			err = fmt.Errorf("expected a whole number of at least %d, got %d", least, v)
		}
		*dst = v
		return err
	})
}

// isGiven says whether a flag stands on the command line.
func (f *fields) isGiven(name string) bool { return f.cmd.Flags().Changed(name) }

// exactlyOne checks that exactly one of the flags was given.
func (f *fields) exactlyOne(names ...string) error {
	n := 0
	for _, name := range names {
		if f.isGiven(name) {
			n++
		}
	}
	if n == 1 {
		return nil
	}
	return usage("%s needs one of --%s; got %d of them", f.cmd.CommandPath(), strings.Join(names, ", --"), n)
}

// sourced gives the texts of sources, each once.
func sourced(sources ...metrology.Source) []string {
	var texts []string
	for _, s := range sources {
		if t := s.String(); s != (metrology.Source{}) && !slices.Contains(texts, t) {
			texts = append(texts, t)
		}
	}
	return texts
}

// warn adds cautions, and whose word goes before the figures.
func (r *reckoning) warn(cautions []metrology.Caution) {
	for _, c := range cautions {
		r.cautions = append(r.cautions, c.Text)
		if c.DefersTo != "" && !slices.Contains(r.governs, c.DefersTo) {
			r.governs = append(r.governs, c.DefersTo)
		}
	}
}
