package service_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/access"
	pb "jointledger/proto/jointledger/v1"
)

// foreignStory is what belongs to no site and yet stands in the chain of another one: a
// tool whose home it is, and what was decided there about a tool and a lot.
var foreignStory = []told{
	{"ToolService/CreateTool", `tool_id:"TW-B" tool:{` + toolBody + `home_site:"sites/{S}"}`},
	{"ToolService/RecordCalibrations", `name:"calibrations/{proved}" tool:"tools/TW-B" certificate:"B-1" ` + early(aReading)},
	{"ToolService/RecordCalibrations", `name:"calibrations/{misread}" tool:"tools/TW-B" certificate:"B-2" ` + aReading},
	{"ControlService/RecordCorrections", `name:"corrections/{reread}" corrects:"calibrations/{misread}" reason:"of another wrench" {e}`},
	{"ToolService/RecordToolChecks", `name:"toolChecks/{lookedAt}" ` + strings.Replace(aCheck, "TW-1", "TW-B", 1)},
	{"ControlService/RecordHolds", `name:"holds/{lotHeld}" lot:"lots/L-1" site:"sites/{S}" ` + aHold},
	{"ControlService/RecordHolds", `name:"holds/{toolHeld}" tool:"tools/TW-B" site:"sites/{S}" ` + aHold},
	{"ControlService/RecordHolds", `name:"holds/{freedTool}" action:HOLD_ACTION_RELEASED releases:"holds/{toolHeld}" tool:"tools/TW-B" site:"sites/{S}" decision:DECISION_USE_AS_IS reason:"seen" {q}`},
	{"ControlService/RecordCustodyChanges", `name:"custodyChanges/{sent}" kind:CUSTODY_KIND_SENT ` + strings.Replace(aCustody, "TW-1", "TW-B", 1)},
}

// A tool or a lot goes from site to site, and safety depends on what is known of it: it
// is everybody's, whatever site's chain it stands in.
func TestWhatIsKnownOfToolsAndLotsIsEverybodys(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, methods []method) {
		d.tell(t, methods, other, foreignStory...)
		d.tell(t, methods, own, told{"ControlService/RecordCustodyChanges", `name:"custodyChanges/{got}" kind:CUSTODY_KIND_RECEIVED tool:"tools/TW-B" site:"sites/{S}" entry:{occur_time:{seconds:1773136800} person:"people/nd1"}`})
		ask := func(role access.Role, name, text string) ([]*pb.Outcome, string) {
			t.Helper()
			ctx := d.as(t.Context(), access.Grant{Role: role, Sites: []string{own, ownToo}})
			i := slices.IndexFunc(methods, func(m method) bool { return m.name == name })
			answers, err := methods[i].call(t, ctx, d, methods[i].requests(t, d, text, other))
			if err != nil {
				return nil, render(err)
			}
			return allOutcomes(answers[0]), "OK"
		}
		for _, c := range []struct{ method, text string }{
			{"ToolService/GetTool", `name:"tools/TW-B"`},
			{"ToolService/GetCalibration", `name:"calibrations/{proved}"`},
			{"ToolService/GetToolCheck", `name:"toolChecks/{lookedAt}"`},
			{"ControlService/GetCorrection", `name:"corrections/{reread}"`},
			{"ControlService/GetCustodyChange", `name:"custodyChanges/{sent}"`},
			{"ControlService/GetHold", `name:"holds/{lotHeld}"`},
			{"ControlService/GetHold", `name:"holds/{toolHeld}"`},
			{"ControlService/GetHold", `name:"holds/{freedTool}"`},
			{"AttachmentService/ListAttachments", `record:"calibrations/{proved}"`},
		} {
			if _, got := ask(access.Technician, c.method, c.text); got != "OK" {
				t.Errorf("%s %s: %s", c.method, c.text, got)
			}
		}
		ctx := d.as(t.Context(), access.Grant{Role: access.Technician, Sites: []string{own}})
		if l, err := d.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/L-1"}); err != nil || l.State != pb.LotState_LOT_STATE_QUARANTINED {
			t.Errorf("the lot: %v, %v", l, err)
		}
		for what, n := range map[string]int{
			"holds on the lot":         len(must[*pb.ListHoldsResponse](t)(d.control.ListHolds(ctx, &pb.ListHoldsRequest{Lot: "lots/L-1"})).Holds),
			"holds found with the lot": len(must[*pb.FindLotResponse](t)(d.progress.FindLot(ctx, &pb.FindLotRequest{Lot: "lots/L-1"})).OpenHolds),
			"changes of custody":       len(must[*pb.ListCustodyChangesResponse](t)(d.control.ListCustodyChanges(ctx, &pb.ListCustodyChangesRequest{Tool: "tools/TW-B"})).CustodyChanges) - 1,
		} {
			if n != 1 {
				t.Errorf("%d %s", n, what)
			}
		}
		// The use of a tool is counted wherever it was.
		asked := &pb.QueryReliabilityRequest{}
		all := must[*pb.QueryReliabilityResponse](t)(d.readiness.QueryReliability(t.Context(), asked))
		mine := must[*pb.QueryReliabilityResponse](t)(d.readiness.QueryReliability(ctx, asked))
		if len(all.Families) == 0 || all.Families[0].Cycles.GetPresent() != mine.Families[0].Cycles.GetPresent() || all.Families[0].Cycles.GetPresent() == 0 {
			t.Errorf("cycles: %v and %v", all.Families, mine.Families)
		}

		const mayNot, notThere = pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED, pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE
		for _, c := range []struct {
			role         access.Role
			method, text string
			want         pb.ErrorReason
		}{
			// It is calibrated where it is, and its certificate attached there.
			{access.Crib, "ToolService/RecordCalibrations", `name:"calibrations/{new}" tool:"tools/TW-B" certificate:"B-3" ` + aReading, 0},
			// What was decided elsewhere is not undone here.
			{access.SiteLead, "ControlService/RecordHolds", `name:"holds/{new}" action:HOLD_ACTION_RELEASED releases:"holds/{lotHeld}" lot:"lots/L-1" site:"sites/ASH" decision:DECISION_USE_AS_IS reason:"seen" {q}`, mayNot},
			{access.SiteLead, "ControlService/RecordHolds", `name:"holds/{new}" action:HOLD_ACTION_RELEASED releases:"holds/{held}" lot:"lots/L-1" site:"sites/ASH" decision:DECISION_USE_AS_IS reason:"seen" {q}`, notThere},
			{access.SiteLead, "ControlService/RecordCorrections", `name:"corrections/{new}" corrects:"calibrations/{proved}" reason:"of another wrench" {e}`, mayNot},
		} {
			list, got := ask(c.role, c.method, c.text)
			if got != "OK" || len(list) != 1 || list[0].GetRefusal().GetReason() != c.want {
				t.Errorf("%s %s: %s\n%s\nexpected %s", c.method, c.text, got, outcomes(list), c.want)
			}
		}
		if _, got := ask(access.Crib, "AttachmentService/UploadAttachment", strings.Replace(anUpload, "tightenings/{driven}", "calibrations/{proved}", 1)); got != "OK" {
			t.Errorf("the certificate: %s", got)
		}
		// It may be sent home; another site that the sender does not see is unknown.
		const sending = `custody_change:{name:"custodyChanges/{new}" tool:"tools/TW" site:"sites/ASH" {e}} to_site:"sites/`
		if _, got := ask(access.Crib, "CribService/SendTool", strings.Replace(sending, "TW", "TW-B", 1)+`BAY"`); got != "OK" {
			t.Errorf("sent home: %s", got)
		}
		_, unseen := ask(access.Crib, "CribService/SendTool", strings.Replace(sending, "TW", "TW-1", 1)+`BAY"`)
		_, missing := ask(access.Crib, "CribService/SendTool", strings.Replace(sending, "TW", "TW-1", 1)+`BAX"`)
		if !strings.HasPrefix(missing, "NotFound") || strings.ReplaceAll(unseen, other, nowhere) != missing {
			t.Errorf("sent to a site that is not seen: %s; to one that is not there: %s", unseen, missing)
		}
	})
}

// Who may rank people at one site does not do so with what is read of another.
func TestPeopleAreRankedOnlyWhereOneMay(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, _ []method) {
		both := d.as(t.Context(), access.Grant{Role: access.Quality, Sites: []string{own}}, access.Grant{Role: access.Technician, Sites: []string{other}})
		ranked := &pb.QueryStandingRequest{Unit: pb.Grouping_GROUPING_PERSON, CrudeOnly: true, ByName: true}
		one := must[*pb.QueryStandingResponse](t)(d.comparisons.QueryStanding(both, ranked))
		two := must[*pb.QueryStandingResponse](t)(d.comparisons.QueryStanding(t.Context(), ranked))
		rates := must[*pb.QueryRatesResponse](t)(d.analysis.QueryRates(both, &pb.QueryRatesRequest{}))
		if one.Attempts == 0 || two.Attempts != 2*one.Attempts || rates.Total.Attempts != two.Attempts {
			t.Errorf("ranked over %d attempts of %d, of which %d may be read", one.Attempts, two.Attempts, rates.Total.Attempts)
		}
		if _, err := d.comparisons.QueryStanding(d.as(t.Context(), access.Grant{Role: access.Technician, Sites: []string{own}}), ranked); status.Code(err) != codes.PermissionDenied {
			t.Errorf("a technician ranks people: %s", render(err))
		}
	})
}
