package columnar

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/parquet-go/parquet-go"
)

// Kind is what the values of a column are.
type Kind uint8

// Kinds, with the Parquet type (Apache Parquet format 2) and the Go type of a value.
const (
	// Text is a UTF-8 string: string.
	Text Kind = iota + 1
	// Integer is INT64: int64.
	Integer
	// Real is DOUBLE: float64, finite.
	Real
	// Boolean is BOOLEAN: bool.
	Boolean
	// Moment is a TIMESTAMP in microseconds of UTC: time.Time.
	Moment
)

// Column is a named column. Every column may hold nulls.
type Column struct {
	Name string
	Kind Kind
}

// node is the type of a column in the file.
func (c Column) node() (parquet.Node, error) {
	switch c.Kind {
	case Text:
		return parquet.String(), nil
	case Integer:
		return parquet.Int(64), nil
	case Real:
		return parquet.Leaf(parquet.DoubleType), nil
	case Boolean:
		return parquet.Leaf(parquet.BooleanType), nil
	case Moment:
		return parquet.Timestamp(parquet.Microsecond), nil
	}
	return nil, fmt.Errorf("column %q: %d is no kind of column", c.Name, c.Kind)
}

// value takes a value into the file.
func (c Column) value(v any) (parquet.Value, error) {
	switch v := v.(type) {
	case nil:
		return parquet.NullValue(), nil
	case string:
		if c.Kind == Text {
			return parquet.ByteArrayValue([]byte(v)), nil
		}
	case int64:
		if c.Kind == Integer {
			return parquet.Int64Value(v), nil
		}
	case float64:
		if c.Kind == Real && !math.IsNaN(v) && !math.IsInf(v, 0) {
			return parquet.DoubleValue(v), nil
		}
	case bool:
		if c.Kind == Boolean {
			return parquet.BooleanValue(v), nil
		}
	case time.Time:
		if c.Kind == Moment {
			return parquet.Int64Value(v.UnixMicro()), nil
		}
	}
	return parquet.Value{}, fmt.Errorf("column %q: %v (%T) is not a value of it: nil or %s was expected", c.Name, v, v, c.Kind.expected())
}

func (k Kind) expected() string {
	return [...]string{"nothing", "a string", "an int64", "a finite float64", "a bool", "a time.Time"}[k]
}

// ordered is a group whose columns stay in the order that they were given in; by
// itself the library sorts them by name.
type ordered struct {
	parquet.Group
	names []string
}

// Fields gives the columns in order.
func (o ordered) Fields() []parquet.Field {
	fields := o.Group.Fields()
	slices.SortFunc(fields, func(a, b parquet.Field) int {
		return slices.Index(o.names, a.Name()) - slices.Index(o.names, b.Name())
	})
	return fields
}

func schemaOf(columns []Column) (*parquet.Schema, error) {
	if len(columns) == 0 {
		return nil, fmt.Errorf("a file needs a column at least")
	}
	o := ordered{Group: parquet.Group{}}
	for _, c := range columns {
		if c.Name == "" {
			return nil, fmt.Errorf("every column needs a name")
		}
		if slices.Contains(o.names, c.Name) {
			return nil, fmt.Errorf("two columns are named %q", c.Name)
		}
		n, err := c.node()
		if err != nil {
			return nil, err
		}
		o.names = append(o.names, c.Name)
		o.Group[c.Name] = parquet.Optional(parquet.Compressed(n, &parquet.Snappy))
	}
	return parquet.NewSchema("rows", o), nil
}
