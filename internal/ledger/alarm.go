package ledger

import (
	"slices"
	"strings"

	"github.com/google/uuid"
)

// AlarmGrouping says whose failures an alarm rule counts together.
type AlarmGrouping uint8

// Alarm groupings.
const (
	AlarmByLot AlarmGrouping = iota + 1
	AlarmBySite
)

// AlarmGroupings are the words of AlarmGrouping.
var AlarmGroupings = Words[AlarmGrouping]{what: "alarm grouping", names: []string{"lot", "site"}}

// AlarmTest is the sequential test of an alarm rule.
type AlarmTest uint8

// Alarm tests.
const (
	// AlarmCUSUM goes on for ever: for lots and sites in use.
	AlarmCUSUM AlarmTest = iota + 1
	// AlarmSPRT ends with a verdict for each lot or site: for those on trial.
	AlarmSPRT
)

// AlarmTests are the words of AlarmTest.
var AlarmTests = Words[AlarmTest]{what: "alarm test", names: []string{"cusum", "sprt"}}

// AlarmRule says which failure rate is watched, by lot or by site, and when an
// alarm is raised. Only its description and whether it is active can change: a
// counter that has begun under one plan can't go on under another.
type AlarmRule struct {
	Code        string
	Description string
	Grouping    AlarmGrouping
	// Kinds are the thread failures that count as failures. Every thread failure
	// counts as an attempt, whichever they are.
	Kinds []IncidentKind
	Test  AlarmTest
	// InControl and OutOfControl are the rate that is as it should be and the raised
	// one to be found, failures per attempt.
	InControl, OutOfControl float64
	// RunLength is the wanted average number of attempts to a false alarm of a
	// CUSUM; 0 for an SPRT.
	RunLength float64
	// Alpha is the risk that an SPRT refuses the in-control rate, Beta that it
	// accepts the other; 0 for a CUSUM.
	Alpha, Beta float64
	// CountHistory counts what was on record before the rule, too.
	CountHistory bool
	// Active is false for a rule that was stopped; it goes on from where it stood.
	Active bool
	// Plan is reckoned once, when the rule is registered.
	Plan AlarmPlan
	Revision
}

// AlarmPlan is what the test of an alarm rule goes by, and what it buys.
type AlarmPlan struct {
	// Gain is the points of a CUSUM that a failure brings, Drift those that an
	// attempt takes away; it signals at Threshold and begins at Start. All 0 for an
	// SPRT.
	Gain, Drift, Threshold, Start int64
	// AcceptIntercept, RejectIntercept and Slope are Wald's lines of an SPRT, in
	// failures and failures per attempt; all 0 for a CUSUM.
	AcceptIntercept, RejectIntercept, Slope float64
	// FalseAlarmAttempts and FoundAttempts are the average attempts to an alarm, or
	// to the verdict of an SPRT, at the in-control and the out-of-control rate.
	FalseAlarmAttempts, FoundAttempts float64
	// Summary says in a sentence what it buys.
	Summary string
}

// AlarmState is where the counter of one lot or site stands.
type AlarmState struct {
	// Points of a CUSUM.
	Points int64
	// Failures, Attempts and Records count since a CUSUM last stood at 0 or began,
	// and since an SPRT began.
	Failures, Attempts, Records int64
	// Signals is how many alarms it has raised.
	Signals int64
	// Verdict of an SPRT: 0 while it goes on, else the number of the verdict.
	Verdict uint8
}

// Validate gives every field that is wrong.
func (r AlarmRule) Validate() []FieldError {
	var c checks
	c.id("name", r.Code, checkCode(r.Code))
	c.text("description", r.Description, 200, false)
	word(&c, "grouping", AlarmGroupings, r.Grouping, true)
	if len(r.Kinds) == 0 {
		c.add("incident_kinds", "is required; expected some of %s", threadFailureWords())
	}
	for i, k := range r.Kinds {
		if !k.ThreadFailure() {
			c.add("incident_kinds", "%q is no thread failure, so that there are no attempts to hold it against; expected some of %s", IncidentKinds.Name(k), threadFailureWords())
		}
		if slices.Contains(r.Kinds[:i], k) {
			c.add("incident_kinds", "%q is given twice", IncidentKinds.Name(k))
		}
	}
	word(&c, "test", AlarmTests, r.Test, true)
	if !(r.InControl > 0 && r.InControl < 1) {
		c.add("in_control_rate", "%v is out of range; expected failures per attempt, above 0 and below 1", r.InControl)
	}
	if !(r.OutOfControl > r.InControl && r.OutOfControl < 1) {
		c.add("out_of_control_rate", "%v is out of range; expected failures per attempt, above the in-control rate, %v, and below 1", r.OutOfControl, r.InControl)
	}
	if r.Test == AlarmSPRT {
		if r.RunLength != 0 {
			c.add("run_length_attempts", "is for a cusum; a sprt goes by alpha and beta")
		}
		c.above("alpha", r.Alpha, 0, 0.5, "")
		c.above("beta", r.Beta, 0, 0.5, "")
	} else {
		c.above("run_length_attempts", r.RunLength, 0, 1e9, " attempts")
		if r.Alpha != 0 || r.Beta != 0 {
			c.add("alpha", "alpha and beta are for a sprt; a cusum goes by run_length_attempts")
		}
	}
	return c.fields
}

func threadFailureWords() string {
	var words []string
	for _, k := range ThreadFailures() {
		words = append(words, IncidentKinds.Name(k))
	}
	return strings.Join(words, ", ")
}

// Alarm: the failure rate of a lot or a site is likely raised. Only the server
// makes alarms. One stands in the chain of the site whose record set it off, and
// happened when that did. It is neither corrected nor withdrawn: what is decided
// on it, such as a hold, is a record of its own.
type Alarm struct {
	Entry
	// Rule is the code of the alarm rule.
	Rule string
	// Site in whose chain it stands.
	Site string
	// Lot whose failures were counted; empty when those of the site were.
	Lot  string
	Test AlarmTest
	// Statistic reached Threshold: points of a CUSUM, failures of an SPRT.
	Statistic, Threshold float64
	// Failures in Attempts since the counter last stood at 0 or began.
	Failures, Attempts int64
	Sentence           string
	// Cause is the record that set it off.
	Cause uuid.UUID
}

// Head gives the entry.
func (r *Alarm) Head() *Entry { return &r.Entry }

// RecordKind is KindAlarm.
func (*Alarm) RecordKind() RecordKind { return KindAlarm }

// SiteCode is the site of the record that set it off.
func (r *Alarm) SiteCode() string { return r.Site }

// Validate gives every field that is wrong.
func (r *Alarm) Validate() []FieldError {
	var c checks
	c.id("rule", r.Rule, checkCode(r.Rule))
	c.place("site", Place{Site: r.Site}, 1)
	if r.Lot != "" {
		c.id("lot", r.Lot, checkCode(r.Lot))
	}
	word(&c, "test", AlarmTests, r.Test, true)
	c.above("statistic", r.Statistic, 0, 1e18, "")
	c.above("threshold", r.Threshold, 0, 1e18, "")
	if r.Failures < 1 || r.Attempts < r.Failures {
		c.add("failures", "%d failures in %d attempts can't raise an alarm", r.Failures, r.Attempts)
	}
	c.text("sentence", r.Sentence, 500, true)
	if r.Cause == uuid.Nil {
		c.add("cause", "is required")
	}
	c.entry(&r.Entry, false)
	return c.fields
}

func (r *Alarm) assigned(*canonical) {}

func (r *Alarm) content(c *canonical) {
	c.text("rule", r.Rule)
	c.text("site", r.Site)
	c.text("lot", r.Lot)
	named(c, "test", AlarmTests, r.Test)
	c.number("statistic", r.Statistic)
	c.number("threshold", r.Threshold)
	c.int("failures", r.Failures)
	c.int("attempts", r.Attempts)
	c.text("sentence", r.Sentence)
	c.uuid("cause", r.Cause)
}
