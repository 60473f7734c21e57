package outbox

import (
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	pb "jointledger/proto/jointledger/v1"
)

// body gives the bytes of the message that holds a record of any kind: the number of
// the record's field, and the record. To write the message itself, protobuf would first
// make the tables of every kind of record there is, which takes as long as a quarter of
// the whole way from the start of the program to the flush. Errors: those of
// [proto.Marshal].
func body(d *pb.DeliveredRecord) ([]byte, error) {
	number, record := held(d)
	if record == nil {
		return proto.Marshal(d)
	}
	content, err := proto.Marshal(record)
	if err != nil {
		return nil, err
	}
	b := make([]byte, 0, protowire.SizeTag(number)+protowire.SizeBytes(len(content)))
	return protowire.AppendBytes(protowire.AppendTag(b, number, protowire.BytesType), content), nil
}

// held gives the record that the message holds, with the number of its field; nil for
// none of these.
func held(d *pb.DeliveredRecord) (protowire.Number, proto.Message) {
	switch r := d.GetRecord().(type) {
	case *pb.DeliveredRecord_Tightening:
		return 1, r.Tightening
	case *pb.DeliveredRecord_Incident:
		return 2, r.Incident
	case *pb.DeliveredRecord_Sealing:
		return 3, r.Sealing
	case *pb.DeliveredRecord_Inspection:
		return 4, r.Inspection
	case *pb.DeliveredRecord_Calibration:
		return 5, r.Calibration
	case *pb.DeliveredRecord_LotMovement:
		return 6, r.LotMovement
	case *pb.DeliveredRecord_CustodyChange:
		return 7, r.CustodyChange
	case *pb.DeliveredRecord_Hold:
		return 8, r.Hold
	case *pb.DeliveredRecord_Disposition:
		return 9, r.Disposition
	case *pb.DeliveredRecord_SignOff:
		return 10, r.SignOff
	case *pb.DeliveredRecord_Correction:
		return 11, r.Correction
	case *pb.DeliveredRecord_ToolCheck:
		return 12, r.ToolCheck
	}
	return 0, nil
}
