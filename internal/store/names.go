package store

import (
	"context"
	"database/sql"
	"sort"
	"strings"
	"time"
	"unicode/utf8"

	lru "github.com/hashicorp/golang-lru/v2"

	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
)

// noun is a kind of thing that is looked up by name.
type noun struct {
	what       string // for people
	collection string // in resource names
	table      string
	column     string
	parent     string // column of the parent's key; empty for none
}

var (
	siteNoun   = noun{"site", "sites", "sites", "code", ""}
	towerNoun  = noun{"tower", "towers", "towers", "tag", "site_id"}
	cellNoun   = noun{"cell", "cells", "cells", "tag", "tower_id"}
	jointNoun  = noun{"joint", "joints", "joints", "tag", "cell_id"}
	specNoun   = noun{"specification", "specifications", "specifications", "code", ""}
	lotNoun    = noun{"lot", "lots", "lots", "number", ""}
	toolNoun   = noun{"tool", "tools", "tools", "serial", ""}
	personNoun = noun{"person", "people", "people", "code", ""}

	alarmRuleNoun = noun{"alarm rule", "alarmRules", "alarm_rules", "code", ""}
)

type nameKey struct {
	collection string
	parent     int
	name       string
}

// names remembers what is called by a name, or by a key of the database.
type names struct {
	keys *nameMemory
	// zones are loaded once; the list of zones is short.
	zones *lru.Cache[string, *time.Location]
	// What never changes and every record needs: revisions of specifications and
	// calibrations, by key.
	revisions    *lru.Cache[int, *ledger.Specification]
	calibrations *lru.Cache[int64, *ledger.Calibration]
}

func newNames() *names {
	return &names{
		keys: newNameMemory(), zones: memory[string, *time.Location](64),
		revisions: memory[int, *ledger.Specification](1000), calibrations: memory[int64, *ledger.Calibration](2000),
	}
}

func memory[K comparable, V any](size int) *lru.Cache[K, V] {
	c, err := lru.New[K, V](size)
	if err != nil {
		panic(err) // only for a size below 1
	}
	return c
}

func (n *names) share(found map[nameKey]int) {
	for k, v := range found {
		n.keys.add(k, v)
	}
}

func (n *names) zone(name string) (*time.Location, error) {
	if l, ok := n.zones.Get(name); ok {
		return l, nil
	}
	l, err := time.LoadLocation(name)
	if err == nil {
		n.zones.Add(name, l)
	}
	return l, err
}

// id looks up the key of a name; absent gives false.
func (t *tx) id(ctx context.Context, n noun, parent int, name string) (int, bool, error) {
	name = askable(name)
	k := nameKey{n.collection, parent, name}
	if n.collection == siteNoun.collection && t.visible != nil && !t.visible.codes[name] {
		return 0, false, nil
	}
	if id, ok := t.found[k]; ok {
		return id, true, nil
	}
	if id, ok := t.names.keys.get(k); ok {
		return id, true, nil
	}
	if n.collection == jointNoun.collection {
		return t.jointOfCell(ctx, k)
	}
	query, args := "SELECT id FROM "+n.table+" WHERE "+n.column+" = ?", []any{name}
	if n.parent != "" {
		query, args = query+" AND "+n.parent+" = ?", append(args, parent)
	}
	var id int
	known := false
	err := t.query(ctx, func(rows *sql.Rows) error {
		known = true
		return rows.Scan(&id)
	}, query, args...)
	if err != nil || !known {
		return 0, false, err
	}
	t.found[k] = id
	return id, true, nil
}

// jointOfCell looks up all joints of a cell at once: who asks for one will ask
// for its neighbours.
func (t *tx) jointOfCell(ctx context.Context, k nameKey) (int, bool, error) {
	if t.cells[k.parent] {
		return 0, false, nil // all that there are, are in found
	}
	t.cells[k.parent] = true
	err := t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var tag string
		if err := rows.Scan(&id, &tag); err != nil {
			return err
		}
		t.found[nameKey{k.collection, k.parent, tag}] = id
		return nil
	}, "SELECT id, tag FROM joints WHERE cell_id = ?", k.parent)
	id, ok := t.found[k]
	return id, ok, err
}

// need is id for a name that must be known: the error names it and the nearest
// known one.
func (t *tx) need(ctx context.Context, n noun, parent int, name string, resource func() string) (int, error) {
	id, ok, err := t.id(ctx, n, parent, name)
	if err != nil || ok {
		return id, err
	}
	near, err := t.nearestName(ctx, n, parent, name)
	if err != nil {
		return 0, err
	}
	return 0, ledger.NotFound(n.what, resource(), near)
}

func (t *tx) needNamed(ctx context.Context, n noun, name string) (int, error) {
	return t.need(ctx, n, 0, name, func() string { return n.collection + "/" + name })
}

// mostCandidates bounds how many names are compared with a mistyped one.
const mostCandidates = 5000

func (t *tx) nearestName(ctx context.Context, n noun, parent int, name string) (string, error) {
	query, args := "SELECT "+n.column+" FROM "+n.table, []any{}
	if n.parent != "" {
		query, args = query+" WHERE "+n.parent+" = ?", append(args, parent)
	}
	var known []string
	err := t.query(ctx, func(rows *sql.Rows) error {
		var s string
		err := rows.Scan(&s)
		if n.collection != siteNoun.collection || t.shows(ctx, s) {
			known = append(known, s)
		}
		return err
	}, query+" LIMIT ?", append(args, mostCandidates)...)
	if err != nil {
		return "", err
	}
	sort.Strings(known)
	near, ok := nearest.Name(name, known)
	if !ok {
		return "", nil
	}
	return near, nil
}

// askable gives the text as it can be asked for: in place of bytes that
// PostgreSQL takes in no text, a control character, which nothing that is kept
// has. So such a name is unknown on either engine, and no fault.
func askable(text string) string {
	if strings.IndexByte(text, 0) >= 0 || !utf8.ValidString(text) {
		return "\x01"
	}
	return text
}

// placeKeys are the keys of a place and of what it lies in; 0 below its depth.
type placeKeys struct{ site, tower, cell, joint int }

// placeOf is place for a thing of one depth: a place of another depth is none.
func (t *tx) placeOf(ctx context.Context, n noun, p ledger.Place, depth int) (placeKeys, error) {
	if p.Depth() != depth {
		return placeKeys{}, ledger.NotFound(n.what, p.Resource(), "")
	}
	return t.place(ctx, p)
}

// place looks up a place down to its own depth. The error names the highest
// part that is unknown.
func (t *tx) place(ctx context.Context, p ledger.Place) (placeKeys, error) {
	var k placeKeys
	var err error
	depth := p.Depth()
	if depth >= 1 {
		if k.site, err = t.need(ctx, siteNoun, 0, p.Site, ledger.Place{Site: p.Site}.Resource); err != nil {
			return k, err
		}
	}
	if depth >= 2 {
		if k.tower, err = t.need(ctx, towerNoun, k.site, p.Tower, ledger.Place{Site: p.Site, Tower: p.Tower}.Resource); err != nil {
			return k, err
		}
	}
	if depth >= 3 {
		if k.cell, err = t.need(ctx, cellNoun, k.tower, p.Cell, ledger.Place{Site: p.Site, Tower: p.Tower, Cell: p.Cell}.Resource); err != nil {
			return k, err
		}
	}
	if depth >= 4 {
		if k.joint, err = t.need(ctx, jointNoun, k.cell, p.Joint, p.Resource); err != nil {
			return k, err
		}
	}
	return k, nil
}
