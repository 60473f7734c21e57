package csvfolder

import "jointledger/internal/cli/csvfile"

// merger gathers the lines that together are one item.
type merger struct {
	order []*Item
	byKey map[string]*merged
}

type merged struct {
	item  *Item
	first *csvfile.Row
	// from is the line that gave each value that all must agree on.
	from map[string]*csvfile.Row
	bad  bool
}

func newMerger() *merger { return &merger{byKey: map[string]*merged{}} }

// item gives the item of that name, making it when there is none. A bad line
// spoils the item and gives none.
func (m *merger) item(row *csvfile.Row, name string, make func() *Item) *Item {
	if name == "" {
		return nil
	}
	have := m.byKey[name]
	if have == nil {
		have = &merged{item: make(), first: row, from: map[string]*csvfile.Row{}}
		m.byKey[name] = have
		if have.item != nil {
			m.order = append(m.order, have.item)
		}
	}
	have.bad = have.bad || row.Bad() || have.item == nil
	if have.bad {
		return nil
	}
	return have.item
}

// first gives the first line that named the item.
func (m *merger) first(name string) *csvfile.Row { return m.byKey[name].first }

// spoil says that the item of that name is not to be sent.
func (m *merger) spoil(name string) { m.byKey[name].bad = true }

// agree takes a value that every line of the item of that name must give alike or
// not at all.
func (m *merger) agree(row *csvfile.Row, name, column string, have *string, value string) {
	from := m.byKey[name].from
	switch {
	case value == "" || value == *have:
	case *have == "":
		*have, from[column] = value, row
	default:
		row.Fail(column, "expected %s as in line %d, got %s", csvfile.Quote(from[column].Text(column)), from[column].Line, csvfile.Quote(row.Text(column)))
	}
}

// emit hands over the items that no line spoiled, in the order of the file.
func (m *merger) emit(emit func(*Item) error) error {
	for _, item := range m.order {
		if m.byKey[item.Name].bad {
			continue
		}
		if err := emit(item); err != nil {
			return err
		}
	}
	return nil
}
