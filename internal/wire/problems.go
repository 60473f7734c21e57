package wire

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/ledger"
)

// Problems are the fields of a message that can't be read into the domain at
// all: a name of another form, a time out of range. What can be read is judged
// by the domain's own checks.
type Problems []ledger.FieldError

// Add puts in a problem of a field, in the API's spelling.
func (p *Problems) Add(field, format string, args ...any) {
	*p = append(*p, ledger.FieldError{Field: field, Description: fmt.Sprintf(format, args...)})
}

// About says whether one of the problems is about the field.
func (p Problems) About(field string) bool {
	return slices.ContainsFunc(p, func(f ledger.FieldError) bool { return f.Field == field })
}

// With puts the problems into the list of what the domain finds wrong, so that
// a caller gets everything at once. Where both name a field, the problem knows
// better: the domain saw an empty value.
func (p Problems) With(found []ledger.FieldError) []ledger.FieldError {
	if len(p) == 0 {
		return found
	}
	at := make(map[string]int, len(p))
	for i, f := range p {
		at[f.Field] = i
	}
	var all []ledger.FieldError
	used := make([]bool, len(p))
	for _, f := range found {
		i, ours := at[f.Field]
		switch {
		case !ours:
			all = append(all, f)
		case !used[i]:
			used[i] = true
			all = append(all, p[i])
		}
	}
	for i, f := range p {
		if !used[at[f.Field]] {
			used[at[f.Field]] = true
			all = append(all, p[i])
		}
	}
	return all
}

// Invalid is the error of the problems and of what the domain finds wrong; nil
// when there are no problems, since the store asks the domain itself.
func (p Problems) Invalid(what string, validate func() []ledger.FieldError) error {
	if len(p) == 0 {
		return nil
	}
	return ledger.Invalid(what, p.With(validate()))
}

// Reference reads the name of a resource that lies in no other, such as
// `lots/{lot}`; empty stays empty.
func (p *Problems) Reference(field, collection, name string) string {
	if name == "" {
		return ""
	}
	id, ok := strings.CutPrefix(name, collection+"/")
	if !ok || id == "" || strings.Contains(id, "/") {
		p.Add(field, "%q is not such a name; expected %s/{%s}", name, collection, singular[collection])
		return ""
	}
	return id
}

// Required is reference for a name that must be given.
func (p *Problems) Required(field, collection, name string) string {
	if name == "" {
		p.Add(field, "is required; expected %s/{%s}", collection, singular[collection])
	}
	return p.Reference(field, collection, name)
}

var singular = map[string]string{
	"sites": "site", "specifications": "specification", "lots": "lot", "tools": "tool", "people": "person",
	"batches": "batch", "substitutions": "substitution", "attachments": "sha256",
	"tightenings": "id", "incidents": "id", "calibrations": "id", "lotMovements": "id", "sealings": "id", "inspections": "id",
	"custodyChanges": "id", "holds": "id", "dispositions": "id", "signOffs": "id", "corrections": "id", "alarmRules": "code", "alarms": "id", "toolChecks": "id",
}

// ResourceName is the opposite of reference: empty for an empty id.
func ResourceName(collection, id string) string {
	if id == "" {
		return ""
	}
	return collection + "/" + id
}

// Site reads `sites/{site}`; letters are taken as capitals, as in every place.
func (p *Problems) Site(field, name string) string {
	return strings.ToUpper(p.Reference(field, "sites", name))
}

// Place reads the name of a site, tower, cell or joint; empty stays empty.
func (p *Problems) Place(field, name string) ledger.Place {
	if name == "" {
		return ledger.Place{}
	}
	place, err := ledger.ParsePlaceResource(name)
	if err != nil {
		p.Add(field, "%v", err)
		return ledger.Place{}
	}
	return place
}

// PlaceOf reads the name of a place of the given depth, 1 for a site to 4 for a
// joint. With wildcard a part may be `-`.
func (p *Problems) PlaceOf(field, name string, depth int, wildcard bool) ledger.Place {
	before := len(*p)
	place := p.Place(field, name)
	switch {
	case len(*p) > before:
	case place.Depth() != depth:
		p.Add(field, "%q is not the name of a %s; expected %s", name, placeForms[depth].kind, placeForms[depth].form)
	case !wildcard && HasWildcard(place):
		p.Add(field, "%q stands for many; expected one %s", name, placeForms[depth].kind)
	default:
		return place
	}
	return ledger.Place{}
}

// PlaceBetween reads the name of one place whose depth is from lowest to highest.
func (p *Problems) PlaceBetween(field, name string, lowest, highest int) ledger.Place {
	var kinds []string
	for _, form := range placeForms[lowest : highest+1] {
		kinds = append(kinds, form.kind)
	}
	expected := kinds[len(kinds)-1]
	if others := kinds[:len(kinds)-1]; len(others) > 0 {
		expected = strings.Join(others, ", ") + " or " + expected
	}
	if name == "" {
		p.Add(field, "is required; expected a %s", expected)
		return ledger.Place{}
	}
	place := p.Place(field, name)
	switch depth := place.Depth(); {
	case depth == 0: // it could not be read, and that was said
	case depth < lowest || depth > highest:
		p.Add(field, "%q is a %s; expected a %s", name, place.PlaceKind(), expected)
	case HasWildcard(place):
		p.Add(field, "%q stands for many; expected one %s", name, place.PlaceKind())
	default:
		return place
	}
	return ledger.Place{}
}

var placeForms = [...]struct{ kind, form string }{
	1: {"site", "sites/{site}"},
	2: {"tower", "sites/{site}/towers/{tower}"},
	3: {"cell", "sites/{site}/towers/{tower}/cells/{cell}"},
	4: {"joint", "sites/{site}/towers/{tower}/cells/{cell}/joints/{joint}"},
}

// HasWildcard says whether a part of the place stands for many.
func HasWildcard(p ledger.Place) bool {
	return p.Site == "-" || p.Tower == "-" || p.Cell == "-" || p.Joint == "-"
}

// RecordID reads the name of a record, `{collection}/{uuid}`.
func (p *Problems) RecordID(field, collection, name string) uuid.UUID {
	if name == "" {
		p.Add(field, "is required; expected %s/{id} with a UUIDv7 of your making", collection)
		return uuid.UUID{}
	}
	text := p.Reference(field, collection, name)
	if text == "" {
		return uuid.UUID{}
	}
	id, err := uuid.Parse(text)
	if err != nil || len(text) != 36 {
		p.Add(field, "%q is not a UUID in its usual form of 36 characters", text)
		return uuid.UUID{}
	}
	return id
}

// collections gives the kind of the records in a collection.
var collections = sync.OnceValue(func() map[string]ledger.RecordKind {
	m := make(map[string]ledger.RecordKind)
	for i := range ledger.RecordKinds.All() {
		kind := ledger.RecordKind(i + 1)
		collection, _, _ := strings.Cut(ledger.RecordName(kind, uuid.Nil), "/")
		m[collection] = kind
	}
	return m
})

// AnyRecord reads the name of a record of whatever kind; kind 0 when it is none.
func (p *Problems) AnyRecord(field, name string) (ledger.RecordKind, uuid.UUID) {
	if name == "" {
		p.Add(field, "is required; expected the name of a record, such as tightenings/{id}")
		return 0, uuid.Nil
	}
	collection, _, _ := strings.Cut(name, "/")
	kind, ok := collections()[collection]
	if !ok {
		p.Add(field, "%q is not the name of a record; expected one such as tightenings/{id}", name)
		return 0, uuid.Nil
	}
	id := p.RecordID(field, collection, name)
	if id == uuid.Nil {
		kind = 0
	}
	return kind, id
}

// Time reads a moment to the microsecond, which is all that is kept; not given
// stays the zero time.
func (p *Problems) Time(field string, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	if err := t.CheckValid(); err != nil {
		p.Add(field, "is not a moment from year 1 to year 9999")
		return time.Time{}
	}
	return ledger.Microseconds(t.AsTime())
}

// Word reads a value of an enum. A number that does not fit becomes one that no
// list has, so that the domain refuses it by name.
func Word[T, E ~uint8 | ~int32](v E) T {
	if int64(v) < 0 || int64(v) > math.MaxUint8 {
		return T(math.MaxUint8)
	}
	return T(v)
}

// Known reads a value of an enum in a filter, where 0 stands for all.
func Known[T ~uint8, E ~int32](p *Problems, field string, words ledger.Words[T], v E) T {
	w := Word[T](v)
	if w != 0 && !words.Known(w) {
		p.Add(field, "%d is no %s; expected one of %s", v, words.What(), strings.Join(words.All(), ", "))
		return 0
	}
	return w
}

// Or gives the default when v is not given.
func Or[T ~uint8](v, otherwise T) T {
	if v == 0 {
		return otherwise
	}
	return v
}

// Copied gives a value of its own to what may be absent.
func Copied[T any](v *T) *T {
	if v == nil {
		return nil
	}
	return new(*v)
}

// Timestamp is the opposite of time: nil for the zero time.
func Timestamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// PlaceFilter reads a place that is one, with nothing left open.
func (p *Problems) PlaceFilter(field, name string) ledger.Place {
	place := p.Place(field, name)
	if HasWildcard(place) {
		p.Add(field, "%q stands for many; expected one site, tower, cell or joint, or nothing", name)
	}
	return place
}

// Period reads a start that counts and an end that does not.
func (p *Problems) Period(start, end *timestamppb.Timestamp) (from, to time.Time) {
	from, to = p.Time("start_time", start), p.Time("end_time", end)
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		p.Add("end_time", "%s is before start_time %s", to.Format(time.RFC3339), from.Format(time.RFC3339))
	}
	return from, to
}
