package rules_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// dice fills any value with what may come and what must not: words outside
// their lists, figures that are no numbers, dates that are none.
type dice struct {
	*rand.Rand
	text   string
	number float64
}

var (
	awkwardNumbers = []float64{0, -1, 4.4, 32, 100, 1e-300, 1e308, math.Inf(1), math.Inf(-1), math.NaN()}
	awkwardTexts   = []string{"", "W1", "L1", "ab", "RVB", "II-A", "M10", "1/2-13", "2026-02-30", "2026-05-12", "bolting", "strip", "hot-dip", "\xff"}
	awkwardTimes   = []time.Time{{}, time.Unix(0, 0), time.Unix(1_778_578_200, 0), time.Unix(1<<55, 0), time.Unix(-1<<55, 0)}
)

// fill goes through the value's fields. Pointers and interfaces are nil once in
// five times, except the record.
func (d dice) fill(v reflect.Value) {
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(awkwardTimes[d.IntN(len(awkwardTimes))].Add(time.Duration(d.Int64N(1e16)))))
		return
	case *time.Location:
		v.Set(reflect.ValueOf([]*time.Location{nil, time.UTC, time.FixedZone("x", d.IntN(200_000)-100_000)}[d.IntN(3)]))
		return
	case uuid.UUID:
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Field(i).CanSet() {
				d.fill(v.Field(i))
			}
		}
	case reflect.Pointer:
		if d.IntN(5) > 0 {
			v.Set(reflect.New(v.Type().Elem()))
			d.fill(v.Elem())
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), d.IntN(4), 4))
		for i := range v.Len() {
			d.fill(v.Index(i))
		}
	case reflect.String:
		v.SetString(append(awkwardTexts, d.text)[d.IntN(len(awkwardTexts)+1)])
	case reflect.Float64:
		v.SetFloat(append(awkwardNumbers, d.number)[d.IntN(len(awkwardNumbers)+1)])
	case reflect.Int, reflect.Int64:
		v.SetInt([]int64{0, 1, 12, 5000, -7, math.MaxInt64, math.MinInt64, d.Int64N(1e6)}[d.IntN(8)])
	case reflect.Uint8:
		v.SetUint(uint64(d.IntN(14)))
	case reflect.Bool:
		v.SetBool(d.IntN(2) == 0)
	}
}

func (d dice) record() ledger.Record {
	records := []ledger.Record{
		&ledger.Tightening{}, &ledger.Sealing{}, &ledger.Inspection{}, &ledger.Incident{}, &ledger.Calibration{}, &ledger.LotMovement{},
		&ledger.Custody{}, &ledger.Hold{}, &ledger.Disposition{}, &ledger.SignOff{}, &ledger.Correction{},
	}
	// Most of the rules are about the first two.
	r := records[min(d.IntN(len(records)), d.IntN(len(records)))]
	d.fill(reflect.ValueOf(r).Elem())
	return r
}

// FuzzCheck holds that whatever the facts are, rules neither panic nor answer
// with anything that is not in their table, and answer the same twice.
func FuzzCheck(f *testing.F) {
	f.Add(uint64(1), uint64(2), "AS-1", 15.0)
	f.Add(uint64(3), uint64(4), "9999-12-31", math.Copysign(0, -1))
	order := map[string]int{}
	for i, r := range rules.Table() {
		order[r.Code] = i
	}
	f.Fuzz(func(t *testing.T, seed1, seed2 uint64, text string, number float64) {
		d := dice{rand.New(rand.NewPCG(seed1, seed2)), text, number}
		for range 20 {
			var facts rules.Facts
			record := d.record()
			d.fill(reflect.ValueOf(&facts).Elem())
			facts.Record = record
			found := rules.Check(facts)
			for i, finding := range found {
				checkFinding(t, finding, record.RecordKind())
				if i > 0 && order[found[i-1].Rule] > order[finding.Rule] {
					t.Errorf("%s before %s: not the order of the table", found[i-1].Rule, finding.Rule)
				}
			}
			if again := rules.Check(facts); !reflect.DeepEqual(found, again) {
				t.Errorf("found %+v, then %+v", found, again)
			}
		}
	})
}

func checkFinding(t *testing.T, finding rules.Finding, kind ledger.RecordKind) {
	t.Helper()
	r, ok := rules.Find(finding.Rule)
	if !ok || !slices.Contains(r.Severities, finding.Severity) || !slices.Contains(r.Kinds, kind) {
		t.Errorf("%+v on a record of kind %d is not in the table: %+v", finding, kind, r)
	}
	if finding.Message == "" || finding.Message[len(finding.Message)-1] != '.' || finding.Source == "" {
		t.Errorf("message %q, source %q", finding.Message, finding.Source)
	}
	if (finding.Figure != nil || finding.Limit != nil) && finding.Unit == "" {
		t.Errorf("%s: a figure without a unit", finding.Rule)
	}
	for _, v := range []*float64{finding.Figure, finding.Limit} {
		if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
			t.Errorf("%s: the figure %v can't be carried on: %s", finding.Rule, *v, finding.Message)
		}
	}
}
