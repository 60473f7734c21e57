package rules

import (
	"fmt"
	"slices"
	"time"

	"jointledger/internal/ledger"
)

// onSite are the records that are made where and when it happened. Others, such
// as a calibration, rest on a paper that comes days later.
var onSite = []ledger.RecordKind{
	ledger.KindTightening, ledger.KindSealing, ledger.KindIncident, ledger.KindInspection, ledger.KindCustody,
}

func allKinds() []ledger.RecordKind {
	kinds := make([]ledger.RecordKind, 0, len(ledger.RecordKinds.All()))
	for i := range ledger.RecordKinds.All() {
		kinds = append(kinds, ledger.RecordKind(i+1))
	}
	return kinds
}

func checkClock(f *Facts) []Finding {
	if f.ReceiveTime.IsZero() || f.at().IsZero() {
		return nil
	}
	ahead, late := f.at().Sub(f.ReceiveTime).Minutes(), f.ReceiveTime.Sub(f.at()).Hours()
	if limit := defaultClockAhead.Limit; above(ahead, limit.Value) {
		shown, shownLimit := apart(ahead, limit.Value)
		return one(Finding{
			Message: fmt.Sprintf("The record's time, %s, lies %s min after it was taken in; a clock may run ahead by %s min.",
				f.at().In(f.zone()).Format(time.RFC3339), shown, shownLimit),
			Source: limit.Source.String(),
		}.against(ahead, limit.Value, limit.Unit))
	}
	limit := defaultClockBehind.Limit
	if f.Offline || !slices.Contains(onSite, f.Record.RecordKind()) || !above(late, limit.Value) {
		return nil
	}
	shown, shownLimit := apart(late, limit.Value)
	return one(Finding{
		Message: fmt.Sprintf("The record's time, %s, lies %s h before it was taken in, more than %s h, and it has no offline mark.",
			f.at().In(f.zone()).Format(time.RFC3339), shown, shownLimit),
		Source: limit.Source.String(),
	}.against(late, limit.Value, limit.Unit))
}
