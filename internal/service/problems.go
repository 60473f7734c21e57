package service

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/ledger"
)

// problems are the fields of a message that can't be read into the domain at
// all: a name of another form, a time out of range. What can be read is judged
// by the domain's own checks.
type problems []ledger.FieldError

func (p *problems) add(field, format string, args ...any) {
	*p = append(*p, ledger.FieldError{Field: field, Description: fmt.Sprintf(format, args...)})
}

// about says whether one of the problems is about the field.
func (p problems) about(field string) bool {
	return slices.ContainsFunc(p, func(f ledger.FieldError) bool { return f.Field == field })
}

// with puts the problems into the list of what the domain finds wrong, so that
// a caller gets everything at once. Where both name a field, the problem knows
// better: the domain saw an empty value.
func (p problems) with(found []ledger.FieldError) []ledger.FieldError {
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

// invalid is the error of the problems and of what the domain finds wrong; nil
// when there are no problems, since the store asks the domain itself.
func (p problems) invalid(what string, validate func() []ledger.FieldError) error {
	if len(p) == 0 {
		return nil
	}
	return ledger.Invalid(what, p.with(validate()))
}

// reference reads the name of a resource that lies in no other, such as
// `lots/{lot}`; empty stays empty.
func (p *problems) reference(field, collection, name string) string {
	if name == "" {
		return ""
	}
	id, ok := strings.CutPrefix(name, collection+"/")
	if !ok || id == "" || strings.Contains(id, "/") {
		p.add(field, "%q is not such a name; expected %s/{%s}", name, collection, singular[collection])
		return ""
	}
	return id
}

// required is reference for a name that must be given.
func (p *problems) required(field, collection, name string) string {
	if name == "" {
		p.add(field, "is required; expected %s/{%s}", collection, singular[collection])
	}
	return p.reference(field, collection, name)
}

var singular = map[string]string{
	"sites": "site", "specifications": "specification", "lots": "lot", "tools": "tool", "people": "person",
	"batches": "batch", "substitutions": "substitution", "attachments": "sha256",
	"tightenings": "id", "incidents": "id", "calibrations": "id", "lotMovements": "id", "sealings": "id", "inspections": "id",
	"custodyChanges": "id", "holds": "id", "dispositions": "id", "signOffs": "id", "corrections": "id", "alarmRules": "code", "alarms": "id", "toolChecks": "id",
}

// resourceName is the opposite of reference: empty for an empty id.
func resourceName(collection, id string) string {
	if id == "" {
		return ""
	}
	return collection + "/" + id
}

// site reads `sites/{site}`; letters are taken as capitals, as in every place.
func (p *problems) site(field, name string) string {
	return strings.ToUpper(p.reference(field, "sites", name))
}

// place reads the name of a site, tower, cell or joint; empty stays empty.
func (p *problems) place(field, name string) ledger.Place {
	if name == "" {
		return ledger.Place{}
	}
	place, err := ledger.ParsePlaceResource(name)
	if err != nil {
		p.add(field, "%v", err)
		return ledger.Place{}
	}
	return place
}

// placeOf reads the name of a place of the given depth, 1 for a site to 4 for a
// joint. With wildcard a part may be `-`.
func (p *problems) placeOf(field, name string, depth int, wildcard bool) ledger.Place {
	before := len(*p)
	place := p.place(field, name)
	switch {
	case len(*p) > before:
	case place.Depth() != depth:
		p.add(field, "%q is not the name of a %s; expected %s", name, placeForms[depth].kind, placeForms[depth].form)
	case !wildcard && hasWildcard(place):
		p.add(field, "%q stands for many; expected one %s", name, placeForms[depth].kind)
	default:
		return place
	}
	return ledger.Place{}
}

// placeBetween reads the name of one place whose depth is from lowest to highest.
func (p *problems) placeBetween(field, name string, lowest, highest int) ledger.Place {
	var kinds []string
	for _, form := range placeForms[lowest : highest+1] {
		kinds = append(kinds, form.kind)
	}
	expected := kinds[len(kinds)-1]
	if others := kinds[:len(kinds)-1]; len(others) > 0 {
		expected = strings.Join(others, ", ") + " or " + expected
	}
	if name == "" {
		p.add(field, "is required; expected a %s", expected)
		return ledger.Place{}
	}
	place := p.place(field, name)
	switch depth := place.Depth(); {
	case depth == 0: // it could not be read, and that was said
	case depth < lowest || depth > highest:
		p.add(field, "%q is a %s; expected a %s", name, place.PlaceKind(), expected)
	case hasWildcard(place):
		p.add(field, "%q stands for many; expected one %s", name, place.PlaceKind())
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

func hasWildcard(p ledger.Place) bool {
	return p.Site == "-" || p.Tower == "-" || p.Cell == "-" || p.Joint == "-"
}

// recordID reads the name of a record, `{collection}/{uuid}`.
func (p *problems) recordID(field, collection, name string) uuid.UUID {
	if name == "" {
		p.add(field, "is required; expected %s/{id} with a UUIDv7 of your making", collection)
		return uuid.UUID{}
	}
	text := p.reference(field, collection, name)
	if text == "" {
		return uuid.UUID{}
	}
	id, err := uuid.Parse(text)
	if err != nil || len(text) != 36 {
		p.add(field, "%q is not a UUID in its usual form of 36 characters", text)
		return uuid.UUID{}
	}
	return id
}

// collections gives the kind of the records in a collection.
var collections = func() map[string]ledger.RecordKind {
	m := make(map[string]ledger.RecordKind)
	for i := range ledger.RecordKinds.All() {
		kind := ledger.RecordKind(i + 1)
		collection, _, _ := strings.Cut(ledger.RecordName(kind, uuid.Nil), "/")
		m[collection] = kind
	}
	return m
}()

// anyRecord reads the name of a record of whatever kind; kind 0 when it is none.
func (p *problems) anyRecord(field, name string) (ledger.RecordKind, uuid.UUID) {
	if name == "" {
		p.add(field, "is required; expected the name of a record, such as tightenings/{id}")
		return 0, uuid.Nil
	}
	collection, _, _ := strings.Cut(name, "/")
	kind, ok := collections[collection]
	if !ok {
		p.add(field, "%q is not the name of a record; expected one such as tightenings/{id}", name)
		return 0, uuid.Nil
	}
	id := p.recordID(field, collection, name)
	if id == uuid.Nil {
		kind = 0
	}
	return kind, id
}

// time reads a moment to the microsecond, which is all that is kept; not given
// stays the zero time.
func (p *problems) time(field string, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	if err := t.CheckValid(); err != nil {
		p.add(field, "is not a moment from year 1 to year 9999")
		return time.Time{}
	}
	return ledger.Microseconds(t.AsTime())
}

// word reads a value of an enum. A number that does not fit becomes one that no
// list has, so that the domain refuses it by name.
func word[T, E ~uint8 | ~int32](v E) T {
	if int64(v) < 0 || int64(v) > math.MaxUint8 {
		return T(math.MaxUint8)
	}
	return T(v)
}

// known reads a value of an enum in a filter, where 0 stands for all.
func known[T ~uint8, E ~int32](p *problems, field string, words ledger.Words[T], v E) T {
	w := word[T](v)
	if w != 0 && !words.Known(w) {
		p.add(field, "%d is no %s; expected one of %s", v, words.What(), strings.Join(words.All(), ", "))
		return 0
	}
	return w
}

// or gives the default when v is not given.
func or[T ~uint8](v, otherwise T) T {
	if v == 0 {
		return otherwise
	}
	return v
}

// copied gives a value of its own to what may be absent.
func copied[T any](v *T) *T {
	if v == nil {
		return nil
	}
	return new(*v)
}

// timestamp is the opposite of time: nil for the zero time.
func timestamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}
