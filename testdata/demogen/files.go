package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"sort"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// file is one finished CSV file.
type file struct {
	name string
	data []byte
}

// row is one line of a table; at orders the lines of a table of records.
type row struct {
	at    time.Time
	cells []string
}

// table is a CSV file in the making.
type table struct {
	name   string
	header string
	rows   []row
}

// headers holds the import format: file names, column names and their order.
// The order of the files is the order in which they can be taken in.
var headers = []table{
	{name: "sites", header: "code,name,region,time_zone,status"},
	{name: "towers", header: "site,tower,material,drawing,planned_start,planned_finish"},
	{name: "specs", header: "spec,thread,length_mm,material,property_class,coating,head,treatment,locking," +
		"torque_n_m,torque_tolerance_pct,torque_basis,nut_factor,sealant,seal_width_mm,min_surface_c"},
	{name: "joints", header: "site,tower,cell,joint,kind,critical,spec,fasteners"},
	{name: "lots", header: "lot,supplier,heat,thread,length_mm,material,property_class,coating,head"},
	{name: "batches", header: "batch,kind,product,expires"},
	{name: "tools", header: "serial,kind,type_class,min_n_m,max_n_m,resolution_n_m,home_site,interval_months,interval_cycles"},
	{name: "people", header: "person,name,employer,site,roles,qualification,expires"},
	{name: "calibrations", header: "id,serial,at,laboratory,certificate,phase,target_n_m,readings_n_m," +
		"expanded_uncertainty_n_m,coverage_factor"},
	{name: "custody", header: "id,serial,kind,site,person,at"},
	{name: "lot_movements", header: "id,lot,site,kind,quantity,at,by,reference"},
	{name: "sealings", header: "id,site,tower,cell,joint,at,person,sealant,batch,width_mm,solvent,cleaned_at," +
		"air_c,surface_c,humidity_pct,splices,flange_straight"},
	{name: "tightenings", header: "id,site,tower,cell,joint,at,person,lot,treatment,batch,tool,torque_n_m,fasteners,pass,method"},
	{name: "incidents", header: "id,site,tower,cell,joint,at,person,kind,fasteners,lot,treatment,tool,method,noticed,action,note"},
	{name: "inspections", header: "id,site,tower,cell,joint,at,person,kind,sample,readings_n_m,result"},
}

// add appends a line to the named table.
func (w *world) add(name string, at time.Time, cells ...string) {
	t := w.tables[name]
	t.rows = append(t.rows, row{at: at, cells: cells})
}

// files encodes every table as RFC 4180 text: a header line, CRLF line ends,
// records in order of time.
func (w *world) files() ([]file, error) {
	var out []file
	for _, h := range headers {
		t := w.tables[h.name]
		columns := strings.Split(t.header, ",")
		sort.SliceStable(t.rows, func(i, j int) bool { return t.rows[i].at.Before(t.rows[j].at) })
		var buf bytes.Buffer
		enc := csv.NewWriter(&buf)
		enc.UseCRLF = true
		if err := enc.Write(columns); err != nil {
			return nil, err
		}
		for _, r := range t.rows {
			if len(r.cells) != len(columns) {
				return nil, fmt.Errorf("%s: a line of %d cells under %d columns: %q", t.name, len(r.cells), len(columns), r.cells)
			}
			if err := enc.Write(r.cells); err != nil {
				return nil, err
			}
		}
		enc.Flush()
		if err := enc.Error(); err != nil {
			return nil, err
		}
		out = append(out, file{name: t.name + ".csv", data: buf.Bytes()})
	}
	return out, nil
}

// id makes the UUIDv7 (RFC 9562, 5.7) of a record made at the instant at: 48
// bits of Unix milliseconds, the rest drawn.
func (w *world) id(at time.Time) string {
	var u uuid.UUID
	ms := uint64(at.UnixMilli())
	a, b := w.ids.src.Uint64(), w.ids.src.Uint64()
	for i := range 6 {
		u[i] = byte(ms >> (40 - 8*i))
	}
	u[6] = 0x70 | byte(a>>8)&0x0f
	u[7] = byte(a)
	for i := range 8 {
		u[8+i] = byte(b >> (56 - 8*i))
	}
	u[8] = 0x80 | u[8]&0x3f
	return u.String()
}

// stamp writes an instant as the person's device would: some devices are set to
// UTC and write Z, the others write the site's offset.
func (w *world) stamp(at time.Time, person string) string {
	if w.people[person].zulu {
		return at.UTC().Format(time.RFC3339)
	}
	return at.Format(time.RFC3339)
}

// decimal writes a quantity with a fixed number of decimals.
func decimal(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// shortest writes a quantity with at most the given significant digits and no
// padding.
func shortest(v float64, digits int) string { return strconv.FormatFloat(v, 'g', digits, 64) }
