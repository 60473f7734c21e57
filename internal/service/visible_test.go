package service_test

import (
	"context"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"

	"jointledger/internal/access"
	"jointledger/internal/carry/section"
	"jointledger/internal/store/storetest"
	pb "jointledger/proto/jointledger/v1"
)

// eachWorld runs a test on every engine, with the whole fleet at the door.
func eachWorld(t *testing.T, test func(*testing.T, *door, []method)) {
	t.Helper()
	methods := apiMethods(t)
	for _, e := range storetest.Engines(t) {
		t.Run(e.Name, func(t *testing.T) {
			d := openDoor(t, e.NewConfig(t))
			d.world(t, methods, other)
			test(t, d, methods)
		})
	}
}

func askOf(t *testing.T, m method) ask {
	t.Helper()
	a, ok := asks[m.name]
	if !ok {
		t.Errorf("%s: nothing says what it is asked, and what becomes of it at a site that its caller does not see", m.name)
	}
	return a
}

// The table of methods, roles and sites, cell by cell: what the API says that a method
// takes, what the role may, and what kind of answer the method has for other sites.
func TestWhoMayDoWhatWhere(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, methods []method) {
		for _, role := range access.Roles() {
			ctx := d.as(t.Context(), access.Grant{Role: role, Sites: []string{own, ownToo}})
			for _, m := range methods {
				a := askOf(t, m)
				for _, site := range []string{own, other} {
					sites := []string{own}
					if site != own {
						sites = append(sites, site)
					}
					answers, err := m.call(t, ctx, d, m.requests(t, d, a.text, sites...))
					if problem := judgeCell(role, m, a.how, site, answers, err); problem != "" {
						t.Errorf("%s by %s at %s: %s", m.name, role, site, problem)
					}
					unmarked(t, m.name+" by "+role.String()+" at "+site, answers)
				}
				for _, text := range a.also {
					answers, err := m.call(t, ctx, d, m.requests(t, d, text, own))
					if want := expected(access.RoleMay(role, m.action), codes.OK); status.Code(err) != want && !fewUnits(err) {
						t.Errorf("%s by %s, %s: %s; expected %s", m.name, role, text, render(err), want)
					}
					unmarked(t, m.name+" "+text, answers)
				}
			}
		}
	})
}

// fewUnits tells that there is too little on record of one site to answer: of more
// sites there would be enough.
func fewUnits(err error) bool {
	return status.Code(err) == codes.InvalidArgument && strings.Contains(status.Convert(err).Message(), "not valid")
}

func expected(may bool, code codes.Code) codes.Code {
	if !may {
		return codes.PermissionDenied
	}
	return code
}

// judgeCell says what is wrong with one cell of the table; empty for nothing.
func judgeCell(role access.Role, m method, h how, site string, answers []proto.Message, err error) string {
	want := codes.OK
	if site == other && h == unknown {
		want = codes.NotFound
	} else if h == forAll || site == other && h == denied {
		want = codes.PermissionDenied
	}
	if want = expected(access.RoleMay(role, m.action), want); status.Code(err) != want {
		return render(err) + "; expected " + want.String()
	}
	if want != codes.OK {
		return ""
	}
	refusals := refusalsAt(role, h, site)
	for _, answer := range answers {
		for i, o := range allOutcomes(answer) {
			reason := pb.ErrorReason_ERROR_REASON_UNSPECIFIED
			if i < len(refusals) {
				reason = refusals[i]
			}
			if got := o.GetRefusal().GetReason(); got != reason || (o.State == pb.Outcome_STATE_REFUSED) != (reason != 0) {
				return fmt.Sprintf("member %d:\n%s\nexpected %s", i, outcomes([]*pb.Outcome{o}), reason)
			}
		}
	}
	return ""
}

// refusalsAt gives why the members of a batch are refused, the one at the caller's own
// site first; nothing for none.
func refusalsAt(role access.Role, h how, site string) []pb.ErrorReason {
	const ( // short names
		taken    = pb.ErrorReason_ERROR_REASON_UNSPECIFIED
		mayNot   = pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED
		notThere = pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE
		notSuch  = pb.ErrorReason_ERROR_REASON_INVALID_FIELD
	)
	switch {
	case h == handedIn && !access.RoleMay(role, access.RecordWork):
		return []pb.ErrorReason{mayNot, mayNot}
	case site == own:
		return nil
	case h == deniedAlone, h == handedIn:
		return []pb.ErrorReason{taken, mayNot}
	case h == unknownAlone:
		return []pb.ErrorReason{taken, notThere}
	case h == held:
		return []pb.ErrorReason{notSuch}
	}
	return nil
}

// allOutcomes are the outcomes of an answer, also those that stand beside something.
func allOutcomes(answer proto.Message) []*pb.Outcome {
	if a, ok := answer.(*pb.HoldToolImpactResponse); ok {
		var list []*pb.Outcome
		for _, h := range a.Holds {
			list = append(list, h.Outcome)
		}
		return list
	}
	return outcomesOf(answer)
}

// unmarked sees that nothing of another site is in an answer; what became of a request
// that named it is told apart.
func unmarked(t *testing.T, what string, answers []proto.Message) {
	t.Helper()
	for _, answer := range answers {
		bare := proto.Clone(answer)
		for _, o := range allOutcomes(bare) {
			o.Name, o.Refusal = "", nil
		}
		if h, ok := bare.(*pb.HoldToolImpactResponse); ok {
			for _, one := range h.Holds {
				one.Joint = ""
			}
		}
		text := prototext.Format(bare)
		for _, mark := range []string{other, otherMark, otherQuantity} {
			if strings.Contains(text, mark) {
				t.Errorf("%s tells of %s: %s", what, mark, text)
			}
		}
	}
}

// A site that the caller does not see, and a record that stands at one, are answered
// exactly as one that there is not.
func TestWhatIsNotSeenIsAnsweredAsWhatIsNotThere(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, methods []method) {
		ctx := d.as(t.Context(), access.Grant{Role: access.Administrator, Sites: []string{own, ownToo}})
		for _, m := range methods {
			a := askOf(t, m)
			if a.how == company && !strings.Contains(a.text, "{S}") {
				continue
			}
			at := func(site string) string {
				answers, err := m.call(t, ctx, d, m.requests(t, d, a.text, own, site))
				text := render(err)
				for _, answer := range answers {
					text += "\n" + protoText(answer)
				}
				for name := range idNames(a.text) {
					text = strings.ReplaceAll(text, idFor(d, site, name), "{"+name+"}")
				}
				text = anyID.ReplaceAllString(text, "{id}")
				return strings.NewReplacer(site, "{S}", strings.ToLower(site), "{s}").Replace(text)
			}
			if diff := cmp.Diff(at(nowhere), at(other)); diff != "" {
				t.Errorf("%s: - there is no such site + it is not seen\n%s", m.name, diff)
			}
		}
	})
}

func idNames(text string) map[string]bool {
	names := map[string]bool{}
	for _, p := range placeholder.FindAllString(text, -1) {
		switch name := p[1 : len(p)-1]; name {
		case "S", "s", "M", "e", "q", "new":
		default:
			names[name] = true
		}
	}
	return names
}

func idFor(d *door, site, name string) string { return d.fill("{"+name+"}", site) }

// question is one that can be put to two servers.
type question struct {
	method
	text, site string
}

// questions are all that the API can be asked, of the caller's own site, of none and of
// another.
func questions(t *testing.T, methods []method) (all []question) {
	t.Helper()
	for _, m := range methods {
		if m.action != access.Read || m.name == "ServerService/GetServer" { // it tells who asks
			continue
		}
		a := askOf(t, m)
		for _, text := range append([]string{a.text}, a.also...) {
			all = append(all, question{m, text, own})
		}
		if strings.Contains(a.text, "{") {
			all = append(all, question{m, a.text, other})
		}
	}
	if len(all) < 100 {
		t.Errorf("only %d questions", len(all))
	}
	return all
}

// answered are the messages and the status of an answer.
type answered struct {
	messages []proto.Message
	status   string
}

// ask puts the questions; otherAlarm is the id of an alarm of the other site.
func (d *door) ask(t *testing.T, ctx context.Context, all []question, otherAlarm *string) (answers []answered) {
	t.Helper()
	if d.alarms[other] == "" {
		d.alarms[other] = *otherAlarm
	}
	*otherAlarm = d.alarms[other]
	for _, q := range all {
		messages, err := q.call(t, ctx, d, q.requests(t, d, q.text, q.site))
		answers = append(answers, answered{bared(t, messages), render(err)})
	}
	return answers
}

// Whoever sees one site is answered as though there were no other: message by message
// what somebody who sees everything is told where there is no other.
func TestAnswersAreThoseOfAWorldWithoutOtherSites(t *testing.T) {
	methods := apiMethods(t)
	all := questions(t, methods)
	for _, e := range storetest.Engines(t) {
		var among, alone []answered
		var alarm string
		t.Run(e.Name+"/among others", func(t *testing.T) {
			d := openDoor(t, e.NewConfig(t))
			d.world(t, methods, other, "CAY")
			among = d.ask(t, d.as(t.Context(), access.Grant{Role: access.Administrator, Sites: []string{own, ownToo}}), all, &alarm)
		})
		t.Run(e.Name+"/alone", func(t *testing.T) {
			d := openDoor(t, e.NewConfig(t))
			d.world(t, methods)
			alone = d.ask(t, t.Context(), all, &alarm)
		})
		if len(among) != len(all) || len(alone) != len(all) {
			t.Fatal("not all was asked")
		}
		for i, q := range all {
			if diff := cmp.Diff(alone[i].status, among[i].status); diff != "" {
				t.Errorf("%s: %s %s of %s: - alone + among others\n%s", e.Name, q.name, q.text, q.site, diff)
			}
			if diff := cmp.Diff(alone[i].messages, among[i].messages, protocmp.Transform()); diff != "" {
				t.Errorf("%s: %s %s of %s: - alone + among others\n%s", e.Name, q.name, q.text, q.site, diff)
			}
		}
	}
}

// bared takes out of answers what differs between two servers that were told the
// same: when they took it in, the links that cover this, ids of their own making, and
// what pages come after.
func bared(t *testing.T, answers []proto.Message) []proto.Message {
	t.Helper()
	out := make([]proto.Message, 0, len(answers))
	sums := map[string]section.Sum{}
	for _, a := range answers {
		if carried, ok := a.(*pb.GetCarriedSiteResponse); ok {
			for _, s := range carried.GetHead().GetSections() {
				sums[s.Name] = section.Sum(s.Sha256)
			}
			if s := carried.GetSection(); s != nil {
				a = unpacked(t, s, sums[s.Name])
			}
		}
		a = proto.Clone(a)
		strip(a.ProtoReflect())
		out = append(out, a)
	}
	return out
}

// unpacked is the message in a section of carried data.
func unpacked(t *testing.T, s *pb.CarriedSection, sum section.Sum) proto.Message {
	t.Helper()
	one, err := section.Unpack(s.Name, s.ContentZstd, sum)
	if err != nil {
		t.Fatal(err)
	}
	kind, _, _ := strings.Cut(s.Name, "/")
	m := map[string]proto.Message{
		"site": &pb.CarriedPlan{}, "people": &pb.CarriedPeople{}, "batches": &pb.CarriedBatches{}, "cells": &pb.CarriedCell{},
		"specifications": &pb.CarriedSpecification{}, "lots": &pb.CarriedLot{}, "tools": &pb.CarriedTool{},
	}[kind]
	if err := proto.Unmarshal(one.Content, m); err != nil {
		t.Fatalf("%s: %v", s.Name, err)
	}
	return m
}

var stripped = map[protoreflect.Name]bool{
	"receive_time": true, "create_time": true, "update_time": true, "etag": true, "chain_link": true, "link": true, "head_link": true,
	"sha256": true, "server_time": true, "read_time": true, "next_page_token": true, "resume_token": true, "as_of_time": true,
}

var anyID = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}`)

func strip(m protoreflect.Message) {
	switch v := m.Interface().(type) {
	case *pb.Finding:
		if v.Rule == "clock" { // it tells how long ago that was
			v.Message, v.Figure = "", nil
		}
	case *pb.Hold:
		if v.Rule != "" { // it was placed when the record was taken in
			v.Entry.OccurTime = nil
		}
	case *pb.FamilyReliability:
		v.Cycles, v.Sentence = nil, "" // of all the work that tools did, wherever that was
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case stripped[f.Name()]:
			m.Clear(f)
		case f.IsMap():
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				strip(v.List().Get(i).Message())
			}
		case f.Message() != nil:
			strip(v.Message())
		case f.IsList() && f.Kind() == protoreflect.StringKind:
			for i := range v.List().Len() {
				v.List().Set(i, protoreflect.ValueOfString(ownIDs(v.List().Get(i).String())))
			}
		case f.Kind() == protoreflect.StringKind:
			m.Set(f, protoreflect.ValueOfString(ownIDs(v.String())))
		}
		return true
	})
}

// ownIDs writes the same for every id that a server made.
func ownIDs(text string) string {
	return anyID.ReplaceAllStringFunc(text, func(id string) string {
		if strings.HasPrefix(id, "01950000-") {
			return id
		}
		return "(id of the server)"
	})
}

func protoText(m proto.Message) string {
	bare := proto.Clone(m)
	strip(bare.ProtoReflect())
	return prototext.Format(bare)
}

// Whoever sees no site that there is gets empty answers and no error, not everything.
func TestWhoSeesNoSiteGetsEmptyLists(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, methods []method) {
		ctx := d.as(t.Context(), access.Grant{Role: access.Administrator, Sites: []string{nowhere}})
		for _, m := range methods {
			for _, text := range askOf(t, m).also {
				answers, err := m.call(t, ctx, d, m.requests(t, d, text, nowhere))
				if err != nil && !fewUnits(err) {
					t.Errorf("%s %s: %s", m.name, text, render(err))
				}
				unmarked(t, m.name+" "+text, answers)
			}
		}
		if list, err := d.structure.ListSites(ctx, &pb.ListSitesRequest{}); err != nil || len(list.Sites) != 0 {
			t.Errorf("%v, %v", list, err)
		}
		rates, err := d.analysis.QueryRates(ctx, &pb.QueryRatesRequest{})
		if err != nil || rates.Total.GetAttempts() != 0 || len(rates.Groups) != 0 {
			t.Errorf("%v, %v", rates, err)
		}
	})
}

// The token of a page that somebody else was given shows what its new owner may see.
func TestATokenOfAnotherShowsNothingMore(t *testing.T) {
	eachWorld(t, func(t *testing.T, d *door, _ []method) {
		first := must[*pb.ListTighteningsResponse](t)(d.assembly.ListTightenings(t.Context(), &pb.ListTighteningsRequest{PageSize: 1}))
		ctx := d.as(t.Context(), access.Grant{Role: access.Technician, Sites: []string{own}})
		rest := must[*pb.ListTighteningsResponse](t)(d.assembly.ListTightenings(ctx, &pb.ListTighteningsRequest{PageSize: 100, PageToken: first.NextPageToken}))
		unmarked(t, "the rest", []proto.Message{rest})
		if len(rest.Tightenings) == 0 {
			t.Error("the rest of the caller's own is missing")
		}
		watched := func(ctx context.Context) string {
			s, err := d.clients.alarms.WatchAlarms(ctx, &pb.WatchAlarmsRequest{OnlyNew: true})
			if err != nil {
				t.Fatal(err)
			}
			return must[*pb.WatchAlarmsResponse](t)(s.Recv()).ResumeToken
		}
		mine, cancel := context.WithCancel(ctx)
		defer cancel()
		all, cancelAll := context.WithCancel(t.Context())
		defer cancelAll()
		if a, b := watched(mine), watched(all); a == b || len(a) >= len(b) {
			t.Errorf("the token of who sees one site says as much as that of who sees two: %s and %s", a, b)
		}
	})
}
