package analysis

import (
	"crypto/sha256"
	"fmt"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// HoldThreshold is the least probability of a torque outside the window that puts
// a joint on hold unless somebody says otherwise: none, so that every joint in
// question is held until somebody with the authority decides.
const HoldThreshold = 0.0

// JointsToHold gives those of the joints in question whose probability reaches the
// least one, and those without a probability: nothing says that they are right.
func (a ImpactAnswer) JointsToHold(least float64) []JointImpact {
	var chosen []JointImpact
	for _, j := range a.Joints {
		if j.OutsideProbability == nil || *j.OutsideProbability >= least {
			chosen = append(chosen, j)
		}
	}
	return chosen
}

// ImpactHoldID is the id of the hold on a joint for the calibration that found
// its tool failed: a UUIDv7 (RFC 9562, 5.7) with the time of the calibration's id
// and, in place of random bits, the SHA-256 over the calibration's id and the
// joint's name, so that who holds the joint again names the same hold.
func ImpactHoldID(calibration uuid.UUID, joint ledger.Place) uuid.UUID {
	id := calibration
	sum := sha256.Sum256(append(calibration[:], joint.String()...))
	copy(id[6:], sum[:])
	id[6] = id[6]&0x0f | 0x70 // version
	id[8] = id[8]&0x3f | 0x80 // variant
	return id
}

// HoldReason names the impact before the reason of whoever decides: tool,
// calibration, torque set and delivered, and probability. It has at most 300
// characters more than that reason.
func (j JointImpact) HoldReason(tool string, failed ledger.Calibration, reason string) string {
	what := fmt.Sprintf("set %.4g N·m", j.SetNewtonMetres)
	switch {
	case j.NoTorqueFound:
		what += ", where the tool gave no torque"
	case j.UnknownDrift != nil:
		what += fmt.Sprintf(", got about %.4g N·m (%+.1f %%)", j.UnknownDrift.DeliveredNewtonMetres, j.UnknownDrift.DeviationPercent)
	}
	if w := j.Window; w != nil && j.OutsideProbability != nil {
		what += fmt.Sprintf(", %s probability outside %.4g to %.4g N·m", chance(*j.OutsideProbability), w.LowerNewtonMetres, w.UpperNewtonMetres)
	}
	return holdReason(tool, failed, what, reason)
}

// HoldReason is as JointImpact.HoldReason, for a joint that is not estimated.
func (j JointApart) HoldReason(tool string, failed ledger.Calibration, reason string) string {
	what := "set outside the torques in question"
	if j.Reason == ApartNoTorque {
		what = "no torque on record"
	}
	return holdReason(tool, failed, what, reason)
}

func holdReason(tool string, failed ledger.Calibration, what, reason string) string {
	return fmt.Sprintf("Impact of tool %s, calibration %s: %s. %s", tool, failed.ID, what, reason)
}
