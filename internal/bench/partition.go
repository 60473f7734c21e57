package main

import (
	"context"
	"crypto/md5"
	"database/sql"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

	"jointledger/internal/store"
)

// The table of records in two shapes: as it is, and partitioned by ranges of its key, a
// partition for each site's chain. Foreign keys are left out of both.
const (
	partitionSites = 100
	// uniqueOnce is the index by which a record's id is recognised. A partitioned table
	// can't have it: PostgreSQL's unique indexes of partitioned tables contain the
	// partition key (documentation, "Table Partitioning", Limitations).
	uniqueOnce = "CREATE UNIQUE INDEX ON %s (uid)"
)

// partitionRows is how many records each shape is filled with, a multiple of the sites: -rows.
var partitionRows = 2_000_000

// measurePartition measures both shapes alike, filled with the same rows.
func measurePartition(ctx context.Context, engine string, c store.Config, span time.Duration) ([]figure, error) {
	if c.DSN == "" {
		return nil, nil // SQLite has no partitions
	}
	if _, _, err := store.MigrateUp(ctx, c); err != nil {
		return nil, err
	}
	db, err := rawOpen(engine, c)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	var figures []figure
	for _, s := range []partitionShape{{db: db, table: "one_table", unique: uniqueOnce}, {db: db, table: "partitions", unique: "CREATE INDEX ON %s (uid)", suffix: " PARTITION BY RANGE (id)"}} {
		measured, err := s.measure(ctx, span)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", s.table, err)
		}
		for i := range measured {
			if measured[i].Engine = engine; len(figures) >= len(measured) {
				measured[i].Limit, measured[i].Ratio = figures[i].What, measured[i].PerSecond/figures[i].PerSecond
			}
		}
		figures = append(figures, measured...)
	}
	return figures, nil
}

type partitionShape struct {
	db                    *sql.DB
	table, unique, suffix string
}

// partitionColumns are the values of the row with the number g.
const partitionColumns = `decode(lpad(to_hex(g), 12, '0') || substr(md5(g::text), 1, 20), 'hex'), 1 + g % 4, 1700000000000000 + g * 1000000, 0, 20000 + g / 10000,
1700000000000000 + g * 1000000, 'handheld-' || g % 50, '', sha256(g::text::bytea), g % 5000, g % 300, g % 800, g % 400, 0`

func (s partitionShape) fill(ctx context.Context) error {
	statements := []string{"CREATE TABLE " + s.table + " (LIKE records)" + s.suffix}
	if s.suffix != "" {
		for site := range partitionSites {
			statements = append(statements, fmt.Sprintf("CREATE TABLE %[1]s_%[2]d PARTITION OF %[1]s FOR VALUES FROM (%[2]d::bigint << 40) TO (%[3]d::bigint << 40)", s.table, site+1, site+2))
		}
	}
	statements = append(statements,
		"ALTER TABLE "+s.table+" ADD PRIMARY KEY (id)", fmt.Sprintf(s.unique, s.table),
		"CREATE INDEX ON "+s.table+" (joint_id)", "CREATE INDEX ON "+s.table+" (lot_id)", "CREATE INDEX ON "+s.table+" (tool_id, kind, occur_time)",
		s.insert(fmt.Sprintf("generate_series(0::bigint, %d) g", partitionRows-1)), "VACUUM ANALYZE "+s.table)
	for _, statement := range statements {
		if _, err := s.db.ExecContext(ctx, statement); err != nil {
			return err
		}
	}
	return nil
}

func (s partitionShape) insert(from string) string {
	return "INSERT INTO " + s.table + " (id, site_id, uid, kind, occur_time, offset_minutes, local_day, receive_time, device, note, link, joint_id, lot_id, tool_id, person_id, offline)\n" +
		fmt.Sprintf("SELECT (1 + g %% %[1]d)::bigint << 40 | g / %[1]d + 1, 1 + g %% %[1]d, ", partitionSites) + partitionColumns + " FROM " + from
}

// measure fills the table and measures what the store does with it most.
func (s partitionShape) measure(ctx context.Context, span time.Duration) (figures []figure, err error) {
	if err := s.fill(ctx); err != nil {
		return nil, err
	}
	draw := rand.New(rand.NewPCG(1, 2))
	next := partitionRows
	const group = 64
	all := func(query string, args ...any) error {
		rows, err := s.db.QueryContext(ctx, query, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
		}
		return rows.Err()
	}
	for _, m := range []struct {
		what string
		each int
		call func(context.Context, int, int) error
	}{
		{"insert, 64 a commit", group, func(ctx context.Context, _, _ int) error {
			_, err := s.db.ExecContext(ctx, s.insert(fmt.Sprintf("generate_series(%d::bigint, %d) g", next, next+group-1)))
			next += group
			return err
		}},
		{"recognise 64 ids", group, func(context.Context, int, int) error {
			from := draw.IntN(partitionRows - group)
			ids := make([]any, group)
			for i := range ids {
				sum := md5.Sum([]byte(strconv.Itoa(from + i)))
				ids[i] = binary.BigEndian.AppendUint64(nil, uint64(from+i))[2:]
				ids[i] = append(ids[i].([]byte), sum[:10]...)
			}
			return all("SELECT id, kind FROM "+s.table+" WHERE uid IN ("+placeholders(group)+")", ids...)
		}},
		{"read a chain", partitionRows / partitionSites, func(context.Context, int, int) error {
			site := int64(1 + draw.IntN(partitionSites))
			return all("SELECT * FROM "+s.table+" WHERE id > $1 AND id < $2 ORDER BY id", site<<40, (site+1)<<40)
		}},
		{"list 100 of a site", 100, func(context.Context, int, int) error {
			site := int64(1 + draw.IntN(partitionSites))
			return all("SELECT * FROM "+s.table+" WHERE id > $1 AND id < $2 ORDER BY id LIMIT 100", site<<40|int64(draw.IntN(partitionRows/partitionSites-100)), (site+1)<<40)
		}},
		{"a tool's newest", 1, func(context.Context, int, int) error {
			return all("SELECT * FROM "+s.table+" WHERE tool_id = $1 AND kind = $2 ORDER BY occur_time DESC LIMIT 1", draw.IntN(800), 1+draw.IntN(4))
		}},
	} {
		f, err := load(ctx, span, 1, m.each, m.call)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.what, err)
		}
		f.What = s.table + ": " + m.what
		figures = append(figures, f)
	}
	var megabytes float64
	err = s.db.QueryRowContext(ctx, `SELECT sum(pg_total_relation_size(oid)) / 1e6 FROM pg_class WHERE relkind = 'r' AND (relname = $1::text OR relname LIKE $1::text || '\_%')`, s.table).Scan(&megabytes)
	fmt.Printf("%s: %.0f MB with %d rows\n", s.table, megabytes, next)
	return figures, err
}

// placeholders gives n parameters, as the store asks for ids.
func placeholders(n int) string {
	marks := make([]string, n)
	for i := range marks {
		marks[i] = "$" + strconv.Itoa(i+1)
	}
	return strings.Join(marks, ",")
}
