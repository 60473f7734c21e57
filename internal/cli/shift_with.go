package cli

import (
	"fmt"
	"maps"

	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
	"jointledger/internal/shift"
)

// shiftWith is what is in hand for the shift, and what should be said of it.
func (a *app) shiftWith() (shift.With, []string, error) {
	hand, err := a.inHand()
	if err != nil {
		return shift.With{}, nil, err
	}
	with := shift.With{Lot: hand["lot"].Value, Tool: hand["tool"].Value, Batch: hand["batch"].Value}
	unread := func(what string, err error) error {
		return &failure{code: exitConfig, message: fmt.Sprintf("the %s kept for the shift: %v", what, err), lines: []string{"keep another with trackctl at --" + what}}
	}
	if text := hand["treatment"].Value; text != "" {
		if with.Treatment, err = ledger.Treatments.Parse(text); err != nil {
			return with, nil, unread("treatment", err)
		}
	}
	if text := hand["method"].Value; text != "" {
		if with.Method, err = ledger.DrivingMethods.Parse(text); err != nil {
			return with, nil, unread("method", err)
		}
	}
	if text := hand["torque"].Value; text != "" {
		v, err := quantity.ParseTorque(text)
		if err != nil {
			return with, nil, unread("torque", err)
		}
		torque := v.In(quantity.NewtonMetre)
		with.TorqueNewtonMetres, with.TorqueAsTyped = &torque, text
	}
	var old []string
	for _, key := range handKeys {
		if kept, ok := hand[key]; ok && key != "place" && kept.anotherShift(a.now()) {
			old = append(old, key)
		}
	}
	if len(old) == 0 {
		return with, nil, nil
	}
	return with, []string{fmt.Sprintf("%s kept more than %d hours ago, by another shift: look, and change with w what is other now", wasOrWere(old), shiftHours)}, nil
}

// rememberWith keeps what the work is done with, as trackctl at does.
func (a *app) rememberWith(with shift.With) error {
	before, err := a.inHand()
	if err != nil {
		return err
	}
	kept := maps.Clone(before)
	if kept == nil {
		kept = inHand{}
	}
	chosen := map[string]string{
		"lot": with.Lot, "tool": with.Tool, "batch": with.Batch, "torque": with.TorqueAsTyped,
		"treatment": ledger.Treatments.Name(with.Treatment), "method": ledger.DrivingMethods.Name(with.Method),
	}
	// What was not changed is as old as it was.
	maps.DeleteFunc(chosen, func(key, text string) bool { return text == before[key].Value })
	kept.take(chosen, a.now())
	return a.keepInHand(kept)
}
