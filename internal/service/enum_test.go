package service_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/stats"
	pb "jointledger/proto/jointledger/v1"
)

// words is a list of the domain seen without its type.
type words interface {
	All() []string
	What() string
}

// parser gives the number of a word.
func parser[T ~uint8](w ledger.Words[T]) func(string) (int, error) {
	return func(s string) (int, error) { v, err := w.Parse(s); return int(v), err }
}

// Every enum of the API has exactly the domain's values, under the same numbers:
// conversion between them is a change of type and nothing else.
func TestEnumsAreTheDomainsLists(t *testing.T) {
	type list struct {
		words words
		parse func(string) (int, error)
	}
	lists := map[protoreflect.FullName]list{
		"jointledger.v1.SiteStatus":       {ledger.SiteStatuses, parser(ledger.SiteStatuses)},
		"jointledger.v1.UnitPreference":   {ledger.UnitPreferences, parser(ledger.UnitPreferences)},
		"jointledger.v1.Material":         {ledger.Materials, parser(ledger.Materials)},
		"jointledger.v1.JointKind":        {ledger.JointKinds, parser(ledger.JointKinds)},
		"jointledger.v1.Treatment":        {ledger.Treatments, parser(ledger.Treatments)},
		"jointledger.v1.LockingMethod":    {ledger.LockingMethods, parser(ledger.LockingMethods)},
		"jointledger.v1.TorqueBasis":      {ledger.TorqueBases, parser(ledger.TorqueBases)},
		"jointledger.v1.Pass":             {ledger.Passes, parser(ledger.Passes)},
		"jointledger.v1.DrivingMethod":    {ledger.DrivingMethods, parser(ledger.DrivingMethods)},
		"jointledger.v1.IncidentKind":     {ledger.IncidentKinds, parser(ledger.IncidentKinds)},
		"jointledger.v1.LotState":         {ledger.LotStates, parser(ledger.LotStates)},
		"jointledger.v1.MovementKind":     {ledger.MovementKinds, parser(ledger.MovementKinds)},
		"jointledger.v1.ToolKind":         {ledger.ToolKinds, parser(ledger.ToolKinds)},
		"jointledger.v1.CalibrationPhase": {ledger.CalibrationPhases, parser(ledger.CalibrationPhases)},
		"jointledger.v1.Role":             {ledger.Roles, parser(ledger.Roles)},
		"jointledger.v1.AlarmGrouping":    {ledger.AlarmGroupings, parser(ledger.AlarmGroupings)},
		"jointledger.v1.AlarmTest":        {ledger.AlarmTests, parser(ledger.AlarmTests)},
		"jointledger.v1.ConsumableKind":   {ledger.ConsumableKinds, parser(ledger.ConsumableKinds)},
		"jointledger.v1.Splice":           {ledger.Splices, parser(ledger.Splices)},
		"jointledger.v1.InspectionKind":   {ledger.InspectionKinds, parser(ledger.InspectionKinds)},
		"jointledger.v1.InspectionResult": {ledger.InspectionResults, parser(ledger.InspectionResults)},
		"jointledger.v1.CustodyKind":      {ledger.CustodyKinds, parser(ledger.CustodyKinds)},
		"jointledger.v1.HoldAction":       {ledger.HoldActions, parser(ledger.HoldActions)},
		"jointledger.v1.Decision":         {ledger.Decisions, parser(ledger.Decisions)},
		"jointledger.v1.SignOffPoint":     {ledger.SignOffPoints, parser(ledger.SignOffPoints)},
		"jointledger.v1.JointState":       {ledger.JointStates, parser(ledger.JointStates)},
		"jointledger.v1.Severity":         {rules.Severities, parser(rules.Severities)},
		"jointledger.v1.Grouping":         {analysis.Groupings, parser(analysis.Groupings)},
		"jointledger.v1.RefusalReason":    {analysis.RefusalReasons, parser(analysis.RefusalReasons)},
		"jointledger.v1.IntervalAction":   {analysis.IntervalActions, parser(analysis.IntervalActions)},
		"jointledger.v1.DueReason":        {analysis.DueReasons, parser(analysis.DueReasons)},

		"jointledger.v1.ToolAction":          {ledger.PolicyActions, parser(ledger.PolicyActions)},
		"jointledger.v1.CalibrationDocument": {ledger.CalibrationDocuments, parser(ledger.CalibrationDocuments)},
		"jointledger.v1.DecisionRule":        {ledger.DecisionRules, parser(ledger.DecisionRules)},
		"jointledger.v1.Verdict":             {ledger.Verdicts, parser(ledger.Verdicts)},
	}
	files := []protoreflect.FileDescriptor{pb.File_jointledger_v1_vocabulary_proto, pb.File_jointledger_v1_analysis_proto, pb.File_jointledger_v1_tool_proto, pb.File_jointledger_v1_readiness_proto, pb.File_jointledger_v1_alarm_proto}
	seen := 0
	for _, file := range files {
		for i := range file.Enums().Len() {
			e := file.Enums().Get(i)
			if e.FullName() == "jointledger.v1.IntervalMethod" {
				continue // see below
			}
			l, ok := lists[e.FullName()]
			if !ok {
				t.Errorf("%s has no list in the domain", e.FullName())
				continue
			}
			seen++
			checkEnum(t, e, l.words, l.parse)
		}
	}
	if seen != len(lists) {
		t.Errorf("%d enums checked, %d lists given", seen, len(lists))
	}
}

func checkEnum(t *testing.T, e protoreflect.EnumDescriptor, w words, parse func(string) (int, error)) {
	t.Helper()
	prefix := strings.TrimSuffix(string(e.Values().Get(0).Name()), "UNSPECIFIED")
	if e.Values().Get(0).Number() != 0 || prefix == string(e.Values().Get(0).Name()) {
		t.Errorf("%s does not start with UNSPECIFIED", e.FullName())
	}
	if got, want := e.Values().Len()-1, len(w.All()); got != want {
		t.Errorf("%s has %d values, the domain's %s has %d", e.FullName(), got, w.What(), want)
	}
	for i := 1; i < e.Values().Len(); i++ {
		v := e.Values().Get(i)
		word := strings.ToLower(strings.TrimPrefix(string(v.Name()), prefix))
		if n, err := parse(word); err != nil || n != int(v.Number()) {
			t.Errorf("%s = %d; the domain has %d for %q (%v)", v.Name(), v.Number(), n, word, err)
		}
	}
}

func TestIntervalMethodsAreThoseOfStats(t *testing.T) {
	e := pb.IntervalMethod(0).Descriptor()
	for i := 1; i < e.Values().Len(); i++ {
		v := e.Values().Get(i)
		name := strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(string(v.Name()), "INTERVAL_METHOD_")), "_", "-")
		if m, err := stats.ParseProportionMethod(name); err != nil || int(m) != int(v.Number()) {
			t.Errorf("%s = %d; stats has %d for %q (%v)", v.Name(), v.Number(), m, name, err)
		}
	}
}

func TestErrorReasonsAreTheDomains(t *testing.T) {
	reasons := map[ledger.Reason]string{
		ledger.ReasonUnspecified: "UNSPECIFIED", ledger.ReasonInvalidField: "INVALID_FIELD",
		ledger.ReasonUnknownResource: "UNKNOWN_RESOURCE", ledger.ReasonResourceExists: "RESOURCE_EXISTS",
		ledger.ReasonRecordIDReused: "RECORD_ID_REUSED", ledger.ReasonRequestIDReused: "REQUEST_ID_REUSED",
		ledger.ReasonEtagMismatch: "ETAG_MISMATCH", ledger.ReasonPageTokenInvalid: "PAGE_TOKEN_INVALID",
		ledger.ReasonUpdateMaskInvalid: "UPDATE_MASK_INVALID", ledger.ReasonUnauthenticated: "UNAUTHENTICATED",
		ledger.ReasonPermissionDenied: "PERMISSION_DENIED", ledger.ReasonStoreUnavailable: "STORE_UNAVAILABLE",
		ledger.ReasonConflict: "CONFLICT", ledger.ReasonLimitExceeded: "LIMIT_EXCEEDED", ledger.ReasonInternal: "INTERNAL",
		ledger.ReasonAlreadyCorrected: "ALREADY_CORRECTED", ledger.ReasonHoldNotOpen: "HOLD_NOT_OPEN", ledger.ReasonEmptyPlace: "EMPTY_PLACE",
		ledger.ReasonNoFailedCalibration: "NO_FAILED_CALIBRATION", ledger.ReasonToolWithoutLimit: "TOOL_WITHOUT_LIMIT",
		ledger.ReasonToolNotFit: "TOOL_NOT_FIT", ledger.ReasonAPIVersion: "API_VERSION",
	}
	for r, want := range reasons {
		if got := strings.TrimPrefix(pb.ErrorReason(r).String(), "ERROR_REASON_"); got != want {
			t.Errorf("%d is %s in the API, %s in the domain", r, got, want)
		}
	}
	if got := pb.ErrorReason(0).Descriptor().Values().Len(); got != len(reasons) {
		t.Errorf("the API has %d reasons, the domain %d", got, len(reasons))
	}
}
