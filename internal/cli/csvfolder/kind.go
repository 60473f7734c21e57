package csvfolder

import (
	"context"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// kind is one kind of file: how it is read and where its content is sent.
type kind struct {
	// file is the file's name in the folder.
	file string
	// needs are the files whose content this one names: when one of them was
	// refused, this one is left out.
	needs   []string
	columns []csvfile.Column
	// fields gives the column of each field of the API that has another name, by
	// the field's path in the message that is sent.
	fields map[string]string
	// resources gives the column in which a thing of another collection is named:
	// `lots` is in column `lot`.
	resources map[string]string
	// decode makes the message of one line; nil when the line is bad. Either it or
	// read is set.
	decode func(*csvfile.Row) *Item
	// read reads the file where a line is not a message of its own.
	read func(f *folder, k *kind, problems *csvfile.Problems, emit func(*Item) error) error
	// send hands a batch to the server.
	send func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error)
}

// Item is what one message to the server is made of.
type Item struct {
	// Name is the resource name that it will have.
	Name    string
	Message proto.Message
	// rows are the lines that it was read from. The first is named where no other
	// is meant.
	rows []*csvfile.Row
	// implied says that the thing is only known to exist: any content that the
	// server has will do.
	implied bool
}

func newItem(row *csvfile.Row, name string, message proto.Message) *Item {
	if row.Bad() {
		return nil
	}
	return &Item{Name: name, Message: message, rows: []*csvfile.Row{row}}
}

// kinds are the files of the format in the order in which they are taken: each
// after those that it needs, and after those by which its records are judged (a
// tightening by the calibrations and the custody of its tool).
func kinds() []*kind {
	return []*kind{
		sites(), people(), specs(), lots(), batches(), tools(), towers(), cells(), joints(),
		lotMovements(), calibrations(), toolChecks(), custody(), sealings(), tightenings(), incidents(), inspections(),
	}
}

// required and optional make columns; numbers, columns that hold numbers.
func required(names ...string) []csvfile.Column { return columnsOf(true, false, names) }
func optional(names ...string) []csvfile.Column { return columnsOf(false, false, names) }
func numbers(names ...string) []csvfile.Column  { return columnsOf(true, true, names) }

// lists make columns that hold numbers parted by semicolons.
func lists(isRequired bool, names ...string) []csvfile.Column {
	out := columnsOf(isRequired, false, names)
	for i := range out {
		out[i].List = true
	}
	return out
}

func columnsOf(isRequired, number bool, names []string) []csvfile.Column {
	out := make([]csvfile.Column, len(names))
	for i, n := range names {
		out[i] = csvfile.Column{Name: n, Required: isRequired, Number: number}
	}
	return out
}

func join(lists ...[]csvfile.Column) []csvfile.Column {
	var out []csvfile.Column
	for _, l := range lists {
		out = append(out, l...)
	}
	return out
}

// batched is what every answer to a batch has.
type batched interface{ GetOutcomes() []*pb.Outcome }

func outcomes[T batched](response T, err error) ([]*pb.Outcome, error) {
	if err != nil {
		return nil, err
	}
	return response.GetOutcomes(), nil
}

func messages[T proto.Message](batch []*Item) []T {
	out := make([]T, len(batch))
	for i, item := range batch {
		out[i] = item.Message.(T)
	}
	return out
}

var indexed = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`\[(\d+)\]`) })

// problems says of a refusal where in the file its cause stands.
func (k *kind) problems(item *Item, refusal *pb.Refusal) []csvfile.Problem {
	var out []csvfile.Problem
	for _, v := range refusal.GetFieldViolations() {
		row, column, known := k.cell(item, v.GetField())
		message := v.GetDescription()
		if !known {
			message = v.GetField() + ": " + message
		}
		out = append(out, row.Problem(column, message))
	}
	if len(out) > 0 {
		return out
	}
	return []csvfile.Problem{item.rows[0].Problem(k.resourceColumn(refusal.GetResourceName()), refusal.GetMessage())}
}

// cell finds the line and the column of a field of the API.
func (k *kind) cell(item *Item, field string) (row *csvfile.Row, column string, known bool) {
	row = item.rows[0]
	if m := indexed().FindStringSubmatch(field); m != nil && len(item.rows) > 1 {
		if i, err := strconv.Atoi(m[1]); err == nil && i < len(item.rows) {
			row = item.rows[i]
		}
	}
	path := indexed().ReplaceAllString(field, "")
	for {
		if c, ok := k.fields[path]; ok {
			return row, c, true
		}
		for _, c := range k.columns {
			if c.Name == path {
				return row, path, true
			}
		}
		// The path may begin with the field that holds the thing in its request.
		_, rest, more := strings.Cut(path, ".")
		if !more {
			return row, "", false
		}
		path = rest
	}
}

// resourceColumn finds the column that names a resource.
func (k *kind) resourceColumn(resource string) string {
	if p, err := ledger.ParsePlaceResource(resource); err == nil && strings.HasPrefix(resource, "sites/") {
		if c, ok := k.resources["sites"]; ok && p.Depth() == 1 {
			return c
		}
		if k.has(p.PlaceKind()) {
			return p.PlaceKind()
		}
		return ""
	}
	collection, _, _ := strings.Cut(resource, "/")
	return k.resources[collection]
}

func (k *kind) has(column string) bool {
	for _, c := range k.columns {
		if c.Name == column {
			return true
		}
	}
	return false
}
