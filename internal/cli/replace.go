package cli

import (
	"strconv"
	"strings"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// What a record tells in its arguments when it is made, it tells in flags when it
// is replaced.

// place makes a flag for a place of one of the depths. Where it takes the place of
// another, the end of a name will do, beside that one.
func (f *fields) place(dst *string, name, path, help string, depths ...int) {
	f.bind(name, path, "PLACE", help, func(text string) error {
		place, err := placeBeside(*dst, text, depths...)
		if err == nil {
			*dst = place.Resource()
		}
		return err
	})
}

// placeBeside reads a place that a person typed in place of another, whose resource name
// is given. `J014` is in the cell of the joint that it replaces, `C3/J014` in its tower:
// whoever mends a record has that record in mind, and not where they stand.
func placeBeside(replaced, text string, depths ...int) (ledger.Place, error) {
	typed, err := unlabel(text)
	if err != nil {
		return ledger.Place{}, err
	}
	whole, isWhole := strings.CutPrefix(typed, "/")
	beside, err := ledger.ParsePlaceResource(replaced)
	if err != nil || typed != text || isWhole || strings.HasPrefix(typed, "sites/") {
		return placeArg(whole, depths...)
	}
	if near := placesJoined(beside, typed, depths); len(near) == 1 {
		return near[0], nil
	}
	return placeArg(typed, depths...)
}

func replaceTightening(f *fields, r *pb.Tightening) {
	f.place(&r.Joint, "joint", "joint", "the joint; J014 is beside the one that the record names", 4)
	f.whole(&r.Fasteners, "fasteners", "fasteners", "how many fasteners")
	tighteningFields(f, r)
}

func replaceIncident(f *fields, r *pb.Incident) {
	wordField(f, &r.Kind, ledger.IncidentKinds, "kind", "kind", "what went wrong")
	f.place(&r.Joint, "joint", "joint", "the joint; J014 is beside the one that the record names", 4)
	f.site(&r.Site, "site", "site", "the site, where no joint is concerned")
	f.whole(&r.Fasteners, "fasteners", "fasteners", "how many fasteners")
	incidentFields(f, r)
}

func replaceSealing(f *fields, r *pb.Sealing) {
	f.place(&r.Joint, "joint", "joint", "the joint; J014 is beside the one that the record names", 4)
	sealingFields(f, r)
}

func replaceInspection(f *fields, r *pb.Inspection) {
	wordField(f, &r.Kind, ledger.InspectionKinds, "kind", "kind", "what was inspected")
	f.place(&r.Joint, "joint", "joint", "the joint; J014 is beside the one that the record names", 4)
	inspectionFields(f, r)
}

func replaceMovement(f *fields, r *pb.LotMovement) {
	wordField(f, &r.Kind, ledger.MovementKinds, "kind", "kind", "how the lot came or went")
	f.resource(&r.Lot, "lots", "lot", "lot", "LOT", "the lot")
	f.bind("quantity", "quantity", "N", "how many", func(text string) error {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return usage("expected a whole number, got %s", csvfile.Quote(text))
		}
		r.Quantity = n
		return nil
	})
	movementFields(f, r, "")
}

func replaceCustody(f *fields, r *pb.CustodyChange) {
	wordField(f, &r.Kind, ledger.CustodyKinds, "kind", "kind", "what became of the tool")
	f.resource(&r.Tool, "tools", "tool", "tool", "SERIAL", "the tool")
	custodyFields(f, r, "")
}

func replaceCalibration(f *fields, r *pb.Calibration) func() {
	f.resource(&r.Tool, "tools", "tool", "tool", "SERIAL", "the tool")
	return calibrationFields(f, r)
}
