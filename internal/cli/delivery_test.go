package cli

import (
	"testing"

	pb "jointledger/proto/jointledger/v1"
)

// Every kind that the message may hold can be put into it, also one that is added
// later, and is the same record when it is taken out.
func TestDeliveredRecordHoldsEveryKind(t *testing.T) {
	kinds := (&pb.DeliveredRecord{}).ProtoReflect().Descriptor().Oneofs().ByName("record").Fields()
	for i := range kinds.Len() {
		r, ok := (&pb.DeliveredRecord{}).ProtoReflect().NewField(kinds.Get(i)).Message().Interface().(record)
		if !ok {
			t.Errorf("%s is not a record", kinds.Get(i).Name())
			continue
		}
		if d := deliveredRecord(r); d == nil || recordOf(d) != r {
			t.Errorf("%s is put into the message as %v", kinds.Get(i).Name(), d)
		}
	}
}
