package wire_test

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
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

// FuzzRecord: whatever message is handed in as a record, it is refused with the fields
// that are wrong, or it is one that comes back from its own message the same and has the
// same bytes in the chain.
func FuzzRecord(f *testing.F) {
	fill := filler{rand.New(rand.NewPCG(6, 4))}
	for _, r := range records(fill) {
		if r.RecordKind() == ledger.KindAlarm {
			continue
		}
		content, err := proto.Marshal(delivered(wire.RecordTo(r)))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
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
			again, problems := read(wire.RecordTo(r))
			if diff := cmp.Diff(r, again); len(problems) > 0 || diff != "" {
				t.Fatalf("%v, and back: %v\n%s", m, problems, diff)
			}
			if !bytes.Equal(ledger.Canonical(r), ledger.Canonical(again)) {
				t.Errorf("%v has two links", m)
			}
		}
	})
}
