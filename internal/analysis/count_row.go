package analysis

import "jointledger/internal/ledger"

// MostRecordRows bounds the records that are read where a question asks for the
// joints of each: beyond it the answer would take longer than one waits for.
const MostRecordRows = 200_000

// ModelCovariate is what the record knows of an attempt as a number.
type ModelCovariate uint8

// Covariates.
const (
	// CovariateDay is the local day.
	CovariateDay ModelCovariate = iota + 1
	// CovariateLength is the length of the lot's fastener, in millimetres.
	CovariateLength
	// CovariateJointFasteners is how many fasteners the joint has.
	CovariateJointFasteners
)

// ModelCovariates are the words of ModelCovariate.
var ModelCovariates = ledger.NewWords[ModelCovariate]("covariate", "day", "length", "joint-fasteners")

// Column is the covariate's name in a table, with its unit.
func (c ModelCovariate) Column() string {
	switch c {
	case CovariateLength:
		return "length_mm"
	case CovariateJointFasteners:
		return "joint_fasteners"
	default: // the others go on below
	}
	return "day"
}

// RowQuery is a question for counts that are told apart by more than groupings.
type RowQuery struct {
	CountQuery
	Covariates []ModelCovariate
	// ByJoint tells the joints apart.
	ByJoint bool
}

// ReadsRecords says whether the question needs the records, of which no more than
// MostRecordRows are read.
func (q RowQuery) ReadsRecords() bool {
	for _, c := range q.Covariates {
		if c == CovariateJointFasteners {
			return true
		}
	}
	return q.ByJoint
}

// CountRow is a count with the numbers that it was told apart by.
type CountRow struct {
	Count
	// Numbers are in the order of the question's Covariates: a day counted from
	// 1970-01-01, a length in millimetres, a number of fasteners. The last two are 0
	// where the records say none.
	Numbers []float64
	// Joint is the key of the joint; 0 where the records name none, or where joints
	// are not told apart.
	Joint int
}
