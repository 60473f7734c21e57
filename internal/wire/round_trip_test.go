package wire_test

import (
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// filler puts something other than zero into every field of a value of the domain,
// so that a field which a conversion forgets is seen.
type filler struct{ *rand.Rand }

var (
	placeType    = reflect.TypeFor[ledger.Place]()
	timeType     = reflect.TypeFor[time.Time]()
	uuidType     = reflect.TypeFor[uuid.UUID]()
	revisionType = reflect.TypeFor[ledger.Revision]()
)

func (f filler) fill(v reflect.Value, name string) {
	switch v.Type() {
	case placeType:
		v.Set(reflect.ValueOf(ledger.Place{Site: "HAR", Tower: "T1", Cell: "C03", Joint: "J014"}))
		return
	case timeType:
		v.Set(reflect.ValueOf(time.Unix(1_770_000_000+f.Int64N(1e6), f.Int64N(1e6)*1000).UTC()))
		return
	case uuidType:
		v.Set(reflect.ValueOf(uuid.UUID{6: 0x70, 8: 0x80, 15: byte(1 + f.IntN(255))}))
		return
	case revisionType:
		f.fill(v.FieldByName("CreateTime"), "")
		f.fill(v.FieldByName("UpdateTime"), "")
		v.FieldByName("Version").SetInt(1 + f.Int64N(9))
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(f.IntN(4) > 0)
	case reflect.Uint8:
		v.SetUint(1 + f.Uint64N(2))
	case reflect.Int, reflect.Int64:
		v.SetInt(1 + f.Int64N(1000))
	case reflect.Float64:
		v.SetFloat(float64(1+f.IntN(1000)) / 8)
	case reflect.String:
		v.SetString(textOf(name, f.IntN(90)+10))
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		f.fill(v.Elem(), name)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1+f.IntN(3), 4))
		for i := range v.Len() {
			f.fill(v.Index(i), name)
		}
	case reflect.Array:
		for i := range v.Len() {
			v.Index(i).SetUint(f.Uint64N(256))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			f.fill(v.Field(i), v.Type().Field(i).Name)
		}
	}
}

// textOf is a text that may stand in the field: a site where one is meant.
func textOf(name string, n int) string {
	if strings.HasSuffix(name, "Site") {
		return "HAR"
	}
	return "X-" + strings.Repeat("7", n/10) + "b"
}

// adjust takes out what is nothing that an API says, or can't be true together.
func adjust(r ledger.Record) {
	e := r.Head()
	e.LocalDay, e.FindingsSum = 0, ledger.Link{}
	switch r := r.(type) {
	case *ledger.Incident:
		r.Site = r.Joint.Site
	case *ledger.Hold:
		r.Site = r.SiteCode()
	case *ledger.Correction:
		r.Site = ""
	case *ledger.Disposition:
		r.Site = ""
	}
}

func records(f filler) []ledger.Record {
	all := []ledger.Record{
		new(ledger.Tightening), new(ledger.Incident), new(ledger.Sealing), new(ledger.Inspection), new(ledger.Custody), new(ledger.Calibration),
		new(ledger.LotMovement), new(ledger.Hold), new(ledger.Disposition), new(ledger.SignOff), new(ledger.ToolCheck), new(ledger.Alarm),
	}
	for _, r := range all {
		f.fill(reflect.ValueOf(r).Elem(), "")
		adjust(r)
	}
	for _, r := range all[:7] { // one correction of each kind that has a replacement
		c := new(ledger.Correction)
		f.fill(reflect.ValueOf(c).Elem(), "")
		adjust(c)
		c.With, c.Replacement = r, r.Head().ID
		all = append(all, c)
	}
	return all
}

// Whatever a record says comes back from its message: nothing is forgotten on the
// way out or in.
func TestRecordsComeBackFromTheirMessages(t *testing.T) {
	f := filler{rand.New(rand.NewPCG(6, 1))}
	for range 50 {
		for _, want := range records(f) {
			m := wire.RecordTo(want)
			got, problems := wire.KeptRecord(m)
			if len(problems) > 0 {
				t.Fatalf("%s: %v", ledger.RecordKinds.Name(want.RecordKind()), problems)
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Fatalf("%s (-sent +read):\n%s", ledger.RecordKinds.Name(want.RecordKind()), d)
			}
			if again := wire.RecordTo(got); !proto.Equal(m, again) {
				t.Fatalf("written again:\n%s", cmp.Diff(m, again, protocmp.Transform()))
			}
		}
	}
}

// What a client sends can't say what only the server says.
func TestRecordFromLeavesOutWhatTheServerSays(t *testing.T) {
	f := filler{rand.New(rand.NewPCG(6, 2))}
	for _, r := range records(f) {
		got, problems := wire.RecordFrom(wire.RecordTo(r))
		if _, alarm := r.(*ledger.Alarm); alarm {
			if got != nil || len(problems) == 0 {
				t.Errorf("an alarm was read: %v %v", got, problems)
			}
			continue
		}
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		e := got.Head()
		if !e.ReceiveTime.IsZero() || e.Sequence != 0 || e.Link != (ledger.Link{}) || e.CorrectedBy != uuid.Nil {
			t.Errorf("%s: %+v", ledger.RecordKinds.Name(r.RecordKind()), e)
		}
		switch r := got.(type) {
		case *ledger.Calibration:
			if r.Verdict != nil || r.Site != "" {
				t.Errorf("verdict %+v at %q", r.Verdict, r.Site)
			}
		case *ledger.Tightening:
			if r.Specification.Code != "" {
				t.Error(r.Specification)
			}
		case *ledger.Hold:
			if r.Rule != "" || r.Cause != uuid.Nil || r.ReleasedBy != uuid.Nil {
				t.Errorf("%+v", r)
			}
		}
	}
}

func TestRecordFromOfNothing(t *testing.T) {
	for _, m := range []proto.Message{nil, &pb.Site{}} {
		if r, problems := wire.RecordFrom(m); r != nil || len(problems) != 1 {
			t.Errorf("%T: %v %v", m, r, problems)
		}
		if r, problems := wire.KeptRecord(m); r != nil || len(problems) != 1 {
			t.Errorf("%T as kept: %v %v", m, r, problems)
		}
	}
	// A message without anything is read, with what is wrong.
	if r, problems := wire.RecordFrom((*pb.Tightening)(nil)); r == nil || !problems.About("name") {
		t.Errorf("%v %v", r, problems)
	}
	if _, problems := wire.KeptRecord(&pb.Hold{Name: "holds/" + uuid.New().String(), Cause: "nails/7", Entry: &pb.Entry{ChainLink: []byte{1}}}); !problems.About("cause") || !problems.About("entry.chain_link") {
		t.Error(problems)
	}
}

// comesBack fills one thing and sends it there and back.
func comesBack[T, M any](t *testing.T, f filler, to func(T) M, from func(*wire.Problems, M) T, mend func(*T)) {
	t.Helper()
	for range 50 {
		var want T
		f.fill(reflect.ValueOf(&want).Elem(), "")
		mend(&want)
		var p wire.Problems
		got := from(&p, to(want))
		if len(p) > 0 {
			t.Fatalf("%T: %v", want, p)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("%T (-sent +read):\n%s", want, d)
		}
	}
}

func TestThingsComeBackFromTheirMessages(t *testing.T) {
	f := filler{rand.New(rand.NewPCG(6, 3))}
	comesBack(t, f, wire.SiteTo, wire.KeptSite, func(s *ledger.Site) { s.Code = "HAR" })
	comesBack(t, f, wire.TowerTo, wire.KeptTower, func(v *ledger.Tower) { v.Place.Cell, v.Place.Joint = "", "" })
	comesBack(t, f, wire.CellTo, wire.KeptCell, func(v *ledger.Cell) { v.Place.Joint = "" })
	comesBack(t, f, wire.JointTo, wire.KeptJoint, func(*ledger.Joint) {})
	comesBack(t, f, wire.SpecificationTo, wire.KeptSpecification, func(*ledger.Specification) {})
	comesBack(t, f, wire.RevisionTo, wire.KeptSpecification, func(*ledger.Specification) {})
	comesBack(t, f, wire.LotTo, wire.KeptLot, func(*ledger.Lot) {})
	comesBack(t, f, wire.ToolTo, wire.KeptTool, func(*ledger.Tool) {})
	comesBack(t, f, wire.PersonTo, wire.KeptPerson, func(*ledger.Person) {})
	comesBack(t, f, wire.BatchTo, wire.KeptBatch, func(*ledger.Batch) {})
	comesBack(t, f, wire.SubstitutionTo, wire.KeptSubstitution, func(*ledger.Substitution) {})
	comesBack(t, f, wire.FindingTo, func(_ *wire.Problems, m *pb.Finding) rules.Finding { return wire.FindingFrom(m) }, func(*rules.Finding) {})

	var p wire.Problems
	if wire.KeptLot(&p, &pb.Lot{Name: "lots/A", Etag: "W/7"}); !p.About("etag") {
		t.Error(p)
	}
}
