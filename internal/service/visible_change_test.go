package service_test

import (
	"slices"
	"strings"
	"testing"

	"jointledger/internal/access"
	pb "jointledger/proto/jointledger/v1"
)

// asked puts one question with a role at the caller's own site, and gives the outcomes
// of a batch and the status.
func asked(t *testing.T, d *door, methods []method, site, name, text string, grants ...access.Grant) ([]*pb.Outcome, string) {
	t.Helper()
	i := slices.IndexFunc(methods, func(m method) bool { return m.name == name })
	answers, err := methods[i].call(t, d.as(t.Context(), grants...), d, methods[i].requests(t, d, text, site))
	if err != nil {
		return nil, render(err)
	}
	return allOutcomes(answers[0]), "OK"
}

// Who may not sign off, calibrate, move lots or keep tools does not undo that either, by
// a correction: a wrench would be fit again without the calibration that it failed.
func TestACorrectionTakesWhatTheRecordTook(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, methods []method) {
		for _, c := range []struct {
			corrects string
			takes    access.Action
		}{
			{"signOffs/{signed}", access.SignOff},
			{"calibrations/" + goodCalibration, access.Calibrate},
			{"lotMovements/{came}", access.MoveLots},
			{"custodyChanges/{issued}", access.KeepTools},
			{"toolChecks/{checked}", access.KeepTools},
			{"tightenings/{miscounted}", access.Correct},
		} {
			for _, role := range access.Roles() {
				outcomes, got := asked(t, d, methods, own, "ControlService/RecordCorrections",
					`name:"corrections/{new}" corrects:"`+c.corrects+`" reason:"typed wrong" {q}`, access.Grant{Role: role, Sites: []string{own}})
				if !access.RoleMay(role, access.Correct) {
					if !strings.HasPrefix(got, "PermissionDenied") {
						t.Errorf("%s corrects %s: %s", role, c.corrects, got)
					}
					continue
				}
				want := pb.ErrorReason_ERROR_REASON_UNSPECIFIED
				if !access.RoleMay(role, c.takes) {
					want = pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED
				}
				if got != "OK" || len(outcomes) != 1 || outcomes[0].GetRefusal().GetReason() != want {
					t.Errorf("%s corrects %s: %s, %v; expected %s", role, c.corrects, got, outcomes, want)
				}
			}
		}
	})
}

// What is at home at a site is changed by who may do so there: nobody takes a tool or a
// person of another site, their roles with them, by naming a home of its own.
func TestWhatIsAtHomeElsewhereIsNotTaken(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, methods []method) {
		d.tell(t, methods, other,
			told{"ToolService/CreateTool", `tool_id:"TW-B" tool:{` + toolBody + `home_site:"sites/{S}"}`},
			told{"PersonService/CreatePerson", `person_id:"lead-b" person:{display_name:"Bo" roles:ROLE_SITE_LEAD home_site:"sites/{S}"}`})
		mine := access.Grant{Role: access.SiteLead, Sites: []string{own}}
		theirs := access.Grant{Role: access.SiteLead, Sites: []string{other}}
		for _, c := range []struct {
			name, text string
			grants     []access.Grant
			want       string
		}{
			{"ToolService/UpdateTool", `tool:{name:"tools/TW-B" home_site:"sites/ASH"} update_mask:{paths:"home_site"}`, []access.Grant{mine}, "PermissionDenied"},
			{"ToolService/UpdateTool", `tool:{name:"tools/TW-B" interval_months:99} update_mask:{paths:"interval_months"}`, []access.Grant{mine}, "PermissionDenied"},
			{"PersonService/UpdatePerson", `person:{name:"people/lead-b" home_site:"sites/ASH" roles:ROLE_TECHNICIAN} update_mask:{paths:"home_site" paths:"roles"}`, []access.Grant{mine}, "PermissionDenied"},
			{"PersonService/UpdatePerson", `person:{name:"people/lead-b" display_name:"B."} update_mask:{paths:"display_name"}`, []access.Grant{theirs}, "OK"},
			{"ToolService/UpdateTool", `tool:{name:"tools/TW-B" home_site:"sites/ASH"} update_mask:{paths:"home_site"}`, []access.Grant{mine, theirs}, "OK"},
		} {
			if _, got := asked(t, d, methods, own, c.name, c.text, c.grants...); !strings.HasPrefix(got, c.want) {
				t.Errorf("%s %s: %s; expected %s", c.name, c.text, got, c.want)
			}
		}
	})
}

// The region of a site says which regional roles reach it, so whoever changes it must be
// allowed to say who may do what there.
func TestARegionIsChangedByAdministrators(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, methods []method) {
		for _, role := range []access.Role{access.Integration, access.Administrator} {
			for _, c := range []struct {
				text string
				may  bool
			}{
				{`site:{name:"sites/{S}" region:"region ELM"} update_mask:{paths:"region"}`, access.RoleMay(role, access.Administer)},
				{`site:{name:"sites/{S}" display_name:"Ash and Elm"} update_mask:{paths:"display_name"}`, true},
			} {
				_, got := asked(t, d, methods, own, "StructureService/UpdateSite", c.text, access.Grant{Role: role, Sites: []string{own}})
				if (got == "OK") != c.may || !c.may && !strings.HasPrefix(got, "PermissionDenied") {
					t.Errorf("%s, %s: %s", role, c.text, got)
				}
			}
		}
	})
}
