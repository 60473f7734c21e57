package cli

import (
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// sheetColumn is a column of a sheet that is read as a flag of the entry command is.
type sheetColumn struct {
	name, flag string
	// unit is that of the column's name; empty where the cell carries its own.
	unit string
}

// flagColumns are the columns that stand for flags. Those of the import files have
// their unit in the name; a person who fills a sheet writes it into the cell.
var flagColumns = []sheetColumn{
	{"lot", "lot", ""}, {"treatment", "treatment", ""}, {"batch", "batch", ""}, {"tool", "tool", ""}, {"torque", "torque", ""}, {"torque_n_m", "torque", " N.m"},
	{"pass", "pass", ""}, {"method", "method", ""}, {"noticed", "noticed", ""}, {"action", "action", ""},
	{"sealant", "sealant", ""}, {"width", "width", ""}, {"width_mm", "width", " mm"}, {"solvent", "solvent", ""}, {"cleaned_at", "cleaned-at", ""},
	{"air", "air", ""}, {"air_c", "air", " C"}, {"surface", "surface", ""}, {"surface_c", "surface", " C"}, {"humidity", "humidity", ""}, {"humidity_pct", "humidity", ""},
	{"splice", "splice", ""}, {"flange_straight", "flange-straight", ""},
	{"result", "result", ""}, {"sample", "sample", ""}, {"readings", "readings", ""}, {"readings_n_m", "readings", " N.m"}, {"plan", "plan", ""},
}

// lineColumns are the columns of every kind of record; left and needs are for whoever
// fills the sheet in, and read by nobody.
var lineColumns = []string{"record", "place", "site", "tower", "cell", "joint", "at", "person", "kind", "fasteners", "device", "note", "id", "left", "needs"}

// untouchedColumns are filled in before anybody wrote on the sheet.
var untouchedColumns = []string{"record", "place", "site", "tower", "cell", "joint", "left", "needs", "id"}

// enterColumns are the columns that a sheet may have.
func enterColumns() []csvfile.Column {
	var columns []csvfile.Column
	for _, name := range lineColumns {
		columns = append(columns, csvfile.Column{Name: name, Number: name == "fasteners"})
	}
	for _, c := range flagColumns {
		columns = append(columns, csvfile.Column{Name: c.name, Number: c.unit != "" && c.flag != "readings", List: c.flag == "readings"})
	}
	return columns
}

// lineKind is how the lines of one kind of record are read.
type lineKind struct {
	kind ledger.RecordKind
	// make makes an empty record and binds its flags.
	make func(*fields) lineRecord
}

// lineRecord is the record of one line, as it is being read.
type lineRecord struct {
	record
	// columns gives the column of each field that is no flag.
	columns map[string]string
	// fill are the flags that what is kept for the shift fills in, and need those that
	// must then be there.
	fill, need func() []string
	// kind, place and fasteners take those columns; nil where the record has none.
	kind      func(string) error
	depths    func() []int
	place     func(ledger.Place)
	fasteners func(int32)
	// least is the fewest fasteners; a blank cell reads as blank unless that is more
	// than it.
	least func() (least, blank int32)
	// finish gives it its name and head.
	finish  func(name string, e *pb.Entry)
	summary func(place ledger.Place) string
}

func always(names ...string) func() []string { return func() []string { return names } }

func onlyJoints() []int { return []int{4} }

// lineKinds are the kinds that a sheet may hold.
var lineKinds = []lineKind{
	{ledger.KindTightening, tighteningLine}, {ledger.KindIncident, incidentLine}, {ledger.KindSealing, sealingLine}, {ledger.KindInspection, inspectionLine},
}

func tighteningLine(f *fields) lineRecord {
	r := &pb.Tightening{Pass: pb.Pass(ledger.PassFirst), DrivingMethod: pb.DrivingMethod(ledger.DrivenByHand)}
	tighteningFields(f, r)
	return lineRecord{
		record: r, columns: map[string]string{"joint": "place", "fasteners": "fasteners"},
		fill: always("lot", "treatment", "batch", "tool", "torque", "method"), need: always("lot", "treatment"),
		depths: onlyJoints, place: func(p ledger.Place) { r.Joint = p.Resource() },
		fasteners: func(n int32) { r.Fasteners = n }, least: func() (int32, int32) { return 1, 0 },
		finish: func(name string, e *pb.Entry) { r.Name, r.Entry = "tightenings/"+name, e },
		summary: func(p ledger.Place) string {
			return sentence(counted(int(r.GetFasteners()), "fastener"), wordOf(ledger.Passes, r.GetPass())+" pass", p.String(), "lot "+ledger.ShortName(r.GetLot()))
		},
	}
}

func incidentLine(f *fields) lineRecord {
	r := &pb.Incident{}
	incidentFields(f, r)
	var kind ledger.IncidentKind
	return lineRecord{
		record: r, columns: map[string]string{"joint": "place", "site": "place", "fasteners": "fasteners", "kind": "kind"},
		kind: func(text string) error {
			var err error
			if kind, err = ledger.IncidentKinds.Parse(text); err != nil {
				return err
			}
			r.Kind = pb.IncidentKind(kind)
			if kind.ThreadFailure() {
				r.DrivingMethod = pb.DrivingMethod(ledger.DrivenByHand)
			}
			return nil
		},
		fill: func() []string {
			switch {
			case kind.ThreadFailure():
				return []string{"lot", "treatment", "tool", "method"}
			case kind == ledger.DroppedTool:
				return []string{"tool"}
			}
			return nil
		},
		need: func() []string {
			switch {
			case kind.ThreadFailure():
				return []string{"lot", "treatment"}
			case kind == ledger.DroppedTool:
				return []string{"tool"}
			}
			return nil
		},
		depths: func() []int {
			if kind.ThreadFailure() {
				return []int{4}
			}
			return []int{1, 4}
		},
		place: func(p ledger.Place) {
			if p.Depth() == 4 {
				r.Joint = p.Resource()
			} else {
				r.Site = p.Resource()
			}
		},
		fasteners: func(n int32) { r.Fasteners = n },
		least: func() (int32, int32) {
			if kind.ThreadFailure() {
				return 1, 1
			}
			return 0, 0
		},
		finish:  func(name string, e *pb.Entry) { r.Name, r.Entry = "incidents/"+name, e },
		summary: func(p ledger.Place) string { return incidentSummary(kind, p, r) },
	}
}

func sealingLine(f *fields) lineRecord {
	r := &pb.Sealing{}
	sealingFields(f, r)
	return lineRecord{
		record: r, columns: map[string]string{"joint": "place"}, fill: always(), need: always("sealant"),
		depths: onlyJoints, place: func(p ledger.Place) { r.Joint = p.Resource() },
		finish: func(name string, e *pb.Entry) { r.Name, r.Entry = "sealings/"+name, e },
		summary: func(p ledger.Place) string {
			return sentence("sealed", p.String(), r.GetSealant(), withWord("batch ", r.GetBatch()))
		},
	}
}

func inspectionLine(f *fields) lineRecord {
	r := &pb.Inspection{}
	inspectionFields(f, r)
	return lineRecord{
		record: r, columns: map[string]string{"joint": "place", "kind": "kind"},
		kind: func(text string) error {
			kind, err := ledger.InspectionKinds.Parse(text)
			r.Kind = pb.InspectionKind(kind)
			return err
		},
		fill: func() []string {
			if r.GetKind() == pb.InspectionKind(ledger.TorqueAudit) {
				return []string{"tool"}
			}
			return nil
		},
		need: always("result"), depths: onlyJoints, place: func(p ledger.Place) { r.Joint = p.Resource() },
		finish: func(name string, e *pb.Entry) { r.Name, r.Entry = "inspections/"+name, e },
		summary: func(p ledger.Place) string {
			return sentence(wordOf(ledger.InspectionKinds, r.GetKind()), wordOf(ledger.InspectionResults, r.GetResult()), p.String())
		},
	}
}

// withWord puts a word before a text that is there.
func withWord(word, text string) string {
	if text == "" {
		return ""
	}
	return word + text
}
