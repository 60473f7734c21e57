package cli

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// judged is what the rules find on records by what this device carries.
type judged struct {
	findings []*pb.Finding
	// of are the findings on each of the records.
	of [][]*pb.Finding
	// dataOf is when the carried data was made; zero where the site is not carried, and
	// nothing was judged.
	dataOf time.Time
	// unknown says that the carried data do not have all that the records name, so that
	// rules were silent about it.
	unknown bool
	// remarks say what makes the findings worth less.
	remarks []string
}

// judgeHere applies the rules to records of one site that were kept on this device, by
// the carried data of the site and by the entries that this data does not know yet.
func (a *app) judgeHere(box *outbox.Outbox, records []record) (judged, error) {
	j := judged{of: make([][]*pb.Finding, len(records))}
	entries, err := box.Entries()
	if err != nil {
		return j, err
	}
	p, err := a.packOf(entries, records[0])
	if err != nil {
		return j, err
	}
	if p == nil {
		if a.carriesAny() {
			j.remark(noDataOf(siteOfRecord(records[0])) + ": no rule was applied here, the server judges the entry")
		}
		return j, nil
	}
	j.dataOf, j.remarks = p.AsOf(), a.ageCautions(p)
	if off := clockOff(box.ClockAhead()); off != "" {
		j.remark("look: when the server last answered, this device's clock was " + off + " the server's; unless it was set since, the times of entries are wrong by as much")
	}
	past := entriesAsOf(entries, p.AsOf())
	find := past.oneByOne(p)
	if len(records) >= inOneGo {
		find = past.inOrder(p)
	}
	// As they were kept, which is the order in which one bears on another.
	order := make([]int, len(records))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(past.placeOf(records[x]), past.placeOf(records[y])) })
	for _, i := range order {
		domain, problems := wire.RecordFrom(records[i])
		if domain == nil || len(problems) > 0 {
			continue // checked before it was kept
		}
		found, err := find(records[i], domain, past.keptAt(records[i], a.now()))
		if err == nil {
			err = p.Err()
		}
		if err != nil {
			// What is damaged counts as not known: nothing that follows from that is so.
			return judged{of: make([][]*pb.Finding, len(records))}, err
		}
		j.of[i] = wire.FindingsTo(found)
		j.remarksOn(p, domain)
	}
	j.findings = slices.Concat(j.of...)
	return j, nil
}

// noDataOf says that nothing is carried of the site of a record, or that its site is not
// known.
func noDataOf(site string) string {
	if site == "" {
		return "by what this device carries it is not known at which site this is"
	}
	return "this device carries no data of " + site
}

// findingsBy are what the rules find on a record by carried data and the records that
// these do not know yet, entered at a moment by this device's clock: nobody here can tell
// whether that is right. Sending compares the clocks, and says so.
func findingsBy(p *pack.Pack, r ledger.Record, before []ledger.Record, entered time.Time) ([]rules.Finding, error) {
	found, err := known.Findings(p, r, before, entered)
	return withoutUnknownTool(p, r, found), err
}

// withoutUnknownTool leaves out what is found of a tool only because it is not carried.
func withoutUnknownTool(p *pack.Pack, r ledger.Record, found []rules.Finding) []rules.Finding {
	if slices.ContainsFunc(known.Missing(p, r), func(name string) bool { return strings.HasPrefix(name, "tools/") }) {
		// That it isn't carried does not show that it was never calibrated.
		return slices.DeleteFunc(found, func(f rules.Finding) bool { return f.Rule == rules.CodeCalibrationUnknown })
	}
	return found
}

// entriesBefore are the entries of this device that the carried data do not know yet:
// those that wait, and those that were sent since.
type entriesBefore struct {
	entries []*outbox.Entry
	asOf    time.Time
	// read are those that were read already; nil for what can't be.
	read map[*outbox.Entry]ledger.Record
	// mentions are the places among entries of those that mention a name, as far as it
	// was asked; the rows of a sheet name the same lot and tool over and over.
	mentions map[string][]int
	// where is the place of an entry by its id.
	where map[uuid.UUID]int
}

func entriesAsOf(entries []*outbox.Entry, asOf time.Time) *entriesBefore {
	b := &entriesBefore{entries: entries, asOf: asOf, read: map[*outbox.Entry]ledger.Record{}, mentions: map[string][]int{}, where: make(map[uuid.UUID]int, len(entries))}
	for i, e := range entries {
		b.where[e.ID] = i
	}
	return b
}

// mentioning gives the places of the entries that count and mention a name.
func (b *entriesBefore) mentioning(name string) []int {
	if name == "" {
		return nil
	}
	at, asked := b.mentions[name]
	if !asked {
		for i, e := range b.entries {
			if b.news(e) && e.Mentions(name) {
				at = append(at, i)
			}
		}
		b.mentions[name] = at
	}
	return at
}

// before are those that were kept before r and may bear on it.
func (b *entriesBefore) before(r record) (before []ledger.Record) {
	end := b.placeOf(r) // what was kept with it and after it is not judged with yet
	var places []int
	for _, name := range namesIn(r) {
		at := b.mentioning(name)
		n, _ := slices.BinarySearch(at, end)
		places = append(places, at[:n]...)
	}
	slices.Sort(places)
	for _, i := range slices.Compact(places) {
		if domain := b.domain(b.entries[i]); domain != nil {
			before = append(before, domain)
		}
	}
	return before
}

// placeOf is the place of a record among the entries; after all of them where it is none.
func (b *entriesBefore) placeOf(r record) int {
	if self, err := recordIDOf(r); err == nil {
		if i, kept := b.where[self]; kept {
			return i
		}
	}
	return len(b.entries)
}

// keptAt is when a record was kept on this device; otherwise where it was not yet.
func (b *entriesBefore) keptAt(r record, otherwise time.Time) time.Time {
	id, err := recordIDOf(r)
	if i, kept := b.where[id]; err == nil && kept {
		return b.entries[i].KeptAt
	}
	return otherwise
}

// news says whether an entry counts and can't be in the carried data.
func (b *entriesBefore) news(e *outbox.Entry) bool {
	return e.State == outbox.Waiting || e.State == outbox.Delivered && e.StateAt.After(b.asOf)
}

func (b *entriesBefore) domain(e *outbox.Entry) ledger.Record {
	domain, done := b.read[e]
	if done {
		return domain
	}
	if p, err := readPending(e); err == nil {
		if d, problems := wire.RecordFrom(p.record); len(problems) == 0 {
			domain = d
		}
	}
	b.read[e] = domain
	return domain
}

// namesIn are the names by which an entry that bears on a record mentions what it is
// about.
func namesIn(r record) []string {
	names := []string{"corrections/"} // of what, only the correction itself says
	if x, ok := r.(interface{ GetJoint() string }); ok {
		names = append(names, x.GetJoint())
	}
	if x, ok := r.(interface{ GetLot() string }); ok {
		names = append(names, x.GetLot())
	}
	if x, ok := r.(interface{ GetTool() string }); ok {
		names = append(names, x.GetTool())
	}
	if c, ok := r.(*pb.Correction); ok {
		if with := replacementOf(c); with != nil {
			return namesIn(with)
		}
	}
	return names
}

// soundRecord refuses a record that is malformed before it is kept: the server would
// refuse it, and now is when it can be mended.
func soundRecord(r record, names map[string]string) error {
	domain, problems := wire.RecordFrom(r)
	if domain == nil {
		return &failure{code: exitInternal, message: fmt.Sprintf("%s is of no kind that devices make", r.GetName())}
	}
	err := ledger.Invalid(wire.Spoken(domain.RecordKind()), problems.With(domain.Validate()))
	if err == nil {
		return nil
	}
	e := ledger.AsError(err)
	f := &failure{code: exitData, message: e.Message}
	for _, v := range e.Fields {
		f.lines = append(f.lines, fieldLine(v.Field, v.Description, names))
	}
	return f
}
