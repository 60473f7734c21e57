package wire_test

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// held is the record within what is handed in; nil for none.
func held(d *pb.DeliveredRecord) proto.Message {
	m := d.ProtoReflect()
	field := m.WhichOneof(m.Descriptor().Oneofs().ByName("record"))
	if field == nil {
		return nil
	}
	return m.Get(field).Message().Interface()
}

// delivered puts a record into what is handed in.
func delivered(record proto.Message) *pb.DeliveredRecord {
	d := &pb.DeliveredRecord{}
	m := d.ProtoReflect()
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		if f.Message().FullName() == record.ProtoReflect().Descriptor().FullName() {
			m.Set(f, protoreflect.ValueOfMessage(record.ProtoReflect()))
		}
	}
	return d
}

// makeSound mends what a record that is filled with something everywhere is refused for.
func makeSound(r ledger.Record) {
	r.Head().Person = "ab"
	switch r := r.(type) {
	case *ledger.Custody:
		r.Holder, r.OverrideBy = "cd", "ef"
	case *ledger.Calibration:
		*r.HumidityPercent = 50
		for i := range r.Points {
			r.Points[i].CoverageFactor = 2
		}
	case *ledger.Hold:
		r.Lot, r.Tool, r.Action, r.Releases, r.Decision = "", "", ledger.HoldPlaced, uuid.Nil, 0
	case *ledger.Correction:
		if r.With != nil {
			makeSound(r.With)
		}
	}
}

// atOtherSites are the message with no site and with another one, where it gives one.
func atOtherSites(m proto.Message) (others []proto.Message) {
	field := m.ProtoReflect().Descriptor().Fields().ByName("site")
	if field == nil {
		return nil
	}
	for _, site := range []string{"", "sites/OTHER"} {
		other := proto.Clone(m)
		other.ProtoReflect().Set(field, protoreflect.ValueOfString(site))
		others = append(others, other)
	}
	return others
}

// FuzzRecord: whatever message is handed in as a record, it is refused with the fields
// that are wrong, or it is one that comes back from its own message the same and has the
// same bytes in the chain.
func FuzzRecord(f *testing.F) {
	fill := filler{rand.New(rand.NewPCG(6, 4))}
	for _, r := range records(fill) {
		if r.RecordKind() == ledger.KindAlarm {
			continue
		}
		filled := wire.RecordTo(r)
		makeSound(r)
		whole := wire.RecordTo(r)
		if kept, problems := wire.KeptRecord(whole); len(problems.With(kept.Validate())) > 0 {
			f.Fatalf("the fuzzer is to begin with %v, which is refused: %v", whole, problems.With(kept.Validate()))
		}
		for _, m := range append(atOtherSites(whole), whole, filled) {
			content, err := proto.Marshal(delivered(m))
			if err != nil {
				f.Fatal(err)
			}
			f.Add(content)
		}
	}
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, content []byte) {
		d := &pb.DeliveredRecord{}
		if proto.Unmarshal(content, d) != nil {
			return
		}
		m := held(d)
		for _, read := range []func(proto.Message) (ledger.Record, wire.Problems){wire.RecordFrom, wire.KeptRecord} {
			r, problems := read(m)
			if r == nil {
				if len(problems) == 0 || m != nil {
					t.Errorf("%v is no record, and nothing is wrong with it", m)
				}
				continue
			}
			wrong := problems.With(r.Validate())
			for _, w := range wrong {
				if w.Field == "" || w.Description == "" || strings.ContainsRune(w.Description, '\ufffd') && !strings.ContainsRune(string(content), '\ufffd') {
					t.Errorf("%+v of %v", w, m)
				}
			}
			if len(wrong) > 0 {
				continue
			}
			back := wire.RecordTo(r)
			if c, ok := back.(*pb.Correction); ok && c.GetReplacement() == nil {
				c.Corrects = m.(*pb.Correction).GetCorrects() // of what kind it is is not kept in the record
			}
			again, problems := read(back)
			if diff := cmp.Diff(r, again, cmpopts.EquateNaNs()); len(problems) > 0 || diff != "" {
				t.Fatalf("%v, and back: %v\n%s", m, problems, diff)
			}
			if !bytes.Equal(ledger.Canonical(r), ledger.Canonical(again)) {
				t.Errorf("%v has two links", m)
			}
		}
	})
}
