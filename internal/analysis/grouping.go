package analysis

import "jointledger/internal/ledger"

// Grouping is what a rate is taken by. Its numbers are those of the API's enum.
type Grouping uint8

// Groupings.
const (
	BySite Grouping = iota + 1
	ByRegion
	ByLot
	BySupplier
	ByTreatment
	ByMaterial
	ByThread
	ByDrivingMethod
	ByPerson
	ByTool
	ByMonth
	ByWeek
	ByDay
)

// Groupings are the words of Grouping.
var Groupings = ledger.NewWords[Grouping]("grouping",
	"site", "region", "lot", "supplier", "treatment", "material", "thread",
	"driving-method", "person", "tool", "month", "week", "day")

// GroupValue is the value of one grouping: a code or number as registered, the
// ledger's word for a treatment, material or driving method, `YYYY-MM` for a
// month, `YYYY-Www` for a week, `YYYY-MM-DD` for a day. It is empty where the records name none.
type GroupValue struct {
	Grouping Grouping
	Value    string
}
