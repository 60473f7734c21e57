package store

import (
	"strings"

	"jointledger/internal/ledger"
)

// PlaceFilter narrows a list of towers or cells to a place; a part that is empty
// or `-` matches all.
type PlaceFilter struct{ Within ledger.Place }

// clause collects the conditions of a query and their parameters.
type clause struct {
	conditions []string
	args       []any
}

func (c *clause) add(condition string, args ...any) {
	c.conditions = append(c.conditions, condition)
	c.args = append(c.args, args...)
}

// where gives the WHERE clause; empty for no condition.
func (c *clause) where() string {
	if len(c.conditions) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(c.conditions, " AND ")
}

// within adds the conditions of a place over the tables s, t, c and j of sites,
// towers, cells and joints; parts below the depth that is listed narrow nothing.
func (c *clause) within(p ledger.Place, depth int) {
	for _, part := range []struct{ column, value string }{
		{"s.code", p.Site}, {"t.tag", p.Tower}, {"c.tag", p.Cell}, {"j.tag", p.Joint},
	}[:depth] {
		if part.value != "" && part.value != "-" {
			c.add(part.column+" = ?", askable(part.value))
		}
	}
}

// afterPlace adds the condition of the next page: names after the key, a place
// of the given depth in short form. An unreadable key starts from the front;
// the token around it was checked before.
func (c *clause) afterPlace(key string, depth int) {
	p, err := ledger.ParsePlace(key)
	if err != nil || p.Depth() != depth {
		return
	}
	columns := []string{"s.code", "t.tag", "c.tag", "j.tag"}[:depth]
	values := []any{p.Site, p.Tower, p.Cell, p.Joint}[:depth]
	c.add("("+strings.Join(columns, ", ")+") > "+marks(1, depth), values...)
}

// concrete gives the place with `-` and what lies below it left out, to check
// that what a list is asked for exists.
func concrete(p ledger.Place) ledger.Place {
	for _, part := range []*string{&p.Site, &p.Tower, &p.Cell, &p.Joint} {
		if *part == "-" {
			*part = ""
		}
	}
	return p
}
