package outbox

import (
	"bytes"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "jointledger/proto/jointledger/v1"
)

// The message's own encoding is what the server reads, so it says what is expected:
// for each kind that the message may hold, also one that is added later.
func TestBodyIsTheMessage(t *testing.T) {
	kinds := (&pb.DeliveredRecord{}).ProtoReflect().Descriptor().Oneofs().ByName("record").Fields()
	if kinds.Len() == 0 {
		t.Fatal("the message holds no kind of record")
	}
	for i := range kinds.Len() {
		kind := kinds.Get(i)
		for _, full := range []bool{false, true} {
			d := &pb.DeliveredRecord{}
			record := d.ProtoReflect().Mutable(kind).Message()
			if full {
				fill(record, 3)
			}
			if number, message := held(d); number != kind.Number() || message == nil {
				t.Errorf("%s: held as field %d, %v", kind.Name(), number, message)
			}
			want, err := proto.Marshal(d)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := body(d); err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s: %x, %v, want %x", kind.Name(), got, err, want)
			}
		}
	}
}

// A message without a record, or of which the text is none, is as protobuf has it.
func TestBodyOfNoRecord(t *testing.T) {
	if got, err := body(&pb.DeliveredRecord{}); err != nil || len(got) != 0 {
		t.Errorf("%x, %v", got, err)
	}
	d := &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Hold{Hold: &pb.Hold{Name: "\xff"}}}
	if _, want := proto.Marshal(d); want == nil {
		t.Fatal("protobuf takes a text that is not UTF-8")
	}
	if _, err := body(d); err == nil {
		t.Error("a text that is not UTF-8 was taken")
	}
}

// fill sets every field of a message, and of those in it to a depth.
func fill(m protoreflect.Message, depth int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		switch {
		case f.IsMap():
		case f.Message() != nil && depth == 0:
		case f.Message() != nil && f.IsList():
			fill(m.Mutable(f).List().AppendMutable().Message(), depth-1)
		case f.Message() != nil:
			fill(m.Mutable(f).Message(), depth-1)
		case f.IsList():
			m.Mutable(f).List().Append(sample(f))
		default:
			m.Set(f, sample(f))
		}
	}
}

func sample(f protoreflect.FieldDescriptor) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString("J007")
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte{1, 2})
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(32.5)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(1)
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(-3)
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(300)
	}
	return f.Default()
}
