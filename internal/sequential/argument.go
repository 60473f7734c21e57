package sequential

import (
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/stats"
)

func badNumber(argument string, value float64, requirement string) error {
	return &stats.ArgumentError{Argument: argument, Value: strconv.FormatFloat(value, 'g', -1, 64), Requirement: requirement}
}

// checkPositive refuses what is not a finite number above 0, NaN included.
func checkPositive(argument string, value float64) error {
	if !(value > 0) || math.IsInf(value, 1) {
		return badNumber(argument, value, "must be a finite number above 0")
	}
	return nil
}

// checkRates refuses rates that are none of the model's or in the wrong order.
func checkRates(m Model, inControl, outOfControl float64) error {
	if m != Bernoulli && m != Poisson {
		return &stats.ArgumentError{Argument: "model", Value: m.String(), Requirement: "must be bernoulli or poisson"}
	}
	if err := checkPositive("in-control rate", inControl); err != nil {
		return err
	}
	if err := checkPositive("out-of-control rate", outOfControl); err != nil {
		return err
	}
	if outOfControl <= inControl {
		return badNumber("out-of-control rate", outOfControl,
			fmt.Sprintf("must be above the in-control rate, %s", strconv.FormatFloat(inControl, 'g', -1, 64)))
	}
	if m == Bernoulli && outOfControl >= 1 {
		return badNumber("out-of-control rate", outOfControl, "must be below 1 failure per attempt")
	}
	return nil
}

// checkObservation refuses counts that the model cannot give.
func checkObservation(m Model, failures int64, exposure float64) error {
	if failures < 0 || failures > stats.MaxCount {
		return badNumber("failures", float64(failures), fmt.Sprintf("must be from 0 to %d", int64(stats.MaxCount)))
	}
	if m == Poisson {
		if !(exposure >= 0) || exposure > stats.MaxCount {
			return badNumber("exposure", exposure, fmt.Sprintf("must be from 0 to %d", int64(stats.MaxCount)))
		}
		if exposure == 0 && failures > 0 {
			return badNumber("exposure", exposure, "must be above 0 where there are failures")
		}
		return nil
	}
	if !(exposure >= 0) || exposure > stats.MaxCount || exposure != math.Trunc(exposure) {
		return badNumber("attempts", exposure, fmt.Sprintf("must be a whole number from 0 to %d", int64(stats.MaxCount)))
	}
	if float64(failures) > exposure {
		return badNumber("failures", float64(failures),
			fmt.Sprintf("must be at most the attempts, %s", strconv.FormatFloat(exposure, 'f', -1, 64)))
	}
	return nil
}
