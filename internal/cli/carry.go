package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/carry/pack"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
)

const carryHelp = `SITE is the code of a site; without one, every site that this device carries is
refreshed. What comes: the plan with the state of each joint, specifications, lots
with their stock, tools with calibrations and custody, people, batches and the limits
of the rules. With them entries work without signal, with the same findings as on the
server by the state of that moment, and names are completed as you type.

Only what has changed is sent. Whatever interrupts it, this device keeps the old data
or has the new, and never half of each.`

// carryOptions are the flags of carry.
type carryOptions struct{ status, drop bool }

func (a *app) carryCommand() *cobra.Command {
	var o carryOptions
	cmd := a.command("carry", "Bring the data of a site to this device, to work there without signal", carryHelp)
	cmd.Use = "carry [SITE...]"
	cmd.Example = "  trackctl carry rvb\n  trackctl carry\n  trackctl carry --status\n  trackctl carry --drop rvb"
	cmd.Args = nil
	cmd.Flags().BoolVar(&o.status, "status", false, "only say what this device carries and how old it is; the server is not asked")
	cmd.Flags().BoolVar(&o.drop, "drop", false, "remove the data of SITE from this device; entries that wait to be sent stay")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		sites, err := sitesNamed(args)
		if err != nil {
			return err
		}
		switch {
		case o.status && o.drop:
			return usage("carry takes --status or --drop, not both")
		case o.drop:
			return a.dropCarried(sites)
		case o.status:
			return a.tellCarried(sites)
		}
		return a.bringCarried(ctx, sites)
	})
}

// sitesNamed reads the codes of sites, each once.
func sitesNamed(args []string) ([]string, error) {
	var sites []string
	for _, arg := range args {
		place, err := placeArg(strings.TrimPrefix(arg, "/"), 1)
		if err != nil {
			return nil, err
		}
		if !slices.Contains(sites, place.Site) {
			sites = append(sites, place.Site)
		}
	}
	return sites, nil
}

// sitesCarried are the sites that this device carries.
func (a *app) sitesCarried() ([]string, error) {
	folder, err := a.carriedFolder()
	if err != nil {
		return nil, err
	}
	sites, err := pack.Sites(folder)
	if err != nil {
		return nil, &failure{code: exitIO, message: fmt.Sprintf("the folder of carried data can't be read: %v", err)}
	}
	return sites, nil
}

func (a *app) dropCarried(sites []string) error {
	if len(sites) == 0 {
		return usage("carry --drop needs the site that is not to be carried any more")
	}
	folder, err := a.carriedFolder()
	if err != nil {
		return err
	}
	for _, site := range sites {
		err := pack.Drop(folder, site)
		if errors.Is(err, fs.ErrNotExist) {
			return a.notCarried(site)
		}
		if err != nil {
			return &failure{code: exitIO, message: fmt.Sprintf("the carried data of %s can't be removed: %v", site, err)}
		}
	}
	if a.format == output.Table {
		_, err := fmt.Fprintf(a.out, "no longer carried: %s\n", strings.Join(sites, ", "))
		return err
	}
	rows := make([]carriedSite, len(sites))
	for i, site := range sites {
		rows[i] = carriedSite{site: site, state: "dropped"}
	}
	return a.carriedRows(rows, nil)
}

// notCarried refuses a site that this device has no data of.
func (a *app) notCarried(site string) error {
	f := &failure{code: exitUnknown, message: fmt.Sprintf("this device carries no data of %s", site)}
	if sites, err := a.sitesCarried(); err == nil && len(sites) > 0 {
		f.lines = append(f.lines, "it carries "+strings.Join(sites, ", "))
	}
	return f
}

// carriedSite is a site that this device carries, or has just brought.
type carriedSite struct {
	site, state string
	pack        *pack.Pack
	// sections is how many parts the data have; received and receivedBytes are those
	// that came now.
	sections, received int
	receivedBytes      int64
	counts             carriedCounts
	// damage says why the data can't be read; empty when they can.
	damage string
}

// carriedCounts are the numbers of things in carried data.
type carriedCounts struct{ cells, joints, specifications, lots, tools, people, batches int }

func countsOf(p *pack.Pack) carriedCounts {
	c := carriedCounts{
		specifications: len(p.Specifications()), lots: len(p.Lots()), tools: len(p.Tools()), people: len(p.People()), batches: len(p.Batches()),
	}
	for _, place := range p.Cells() {
		cell, _ := p.Cell(place)
		c.cells++
		c.joints += len(cell.Joints)
	}
	return c
}

func (c carriedCounts) String() string {
	people := counted(c.people, "person")
	if c.people != 1 {
		people = fmt.Sprintf("%d people", c.people)
	}
	batches := counted(c.batches, "batch")
	if c.batches != 1 {
		batches = fmt.Sprintf("%d batches", c.batches)
	}
	return strings.Join([]string{
		counted(c.joints, "joint") + " in " + counted(c.cells, "cell"), counted(c.specifications, "specification"),
		counted(c.lots, "lot"), counted(c.tools, "tool"), people, batches,
	}, ", ")
}

// tellCarried says what this device carries.
func (a *app) tellCarried(sites []string) error {
	all, err := a.sitesCarried()
	if err != nil {
		return err
	}
	for _, site := range sites {
		if !slices.Contains(all, site) {
			return a.notCarried(site)
		}
	}
	if len(sites) == 0 {
		sites = all
	}
	var rows []carriedSite
	var cautions []string
	for _, site := range sites {
		row := carriedSite{site: site, state: "carried"}
		p, _, err := a.carriedFor(site)
		if err == nil {
			row.pack, row.sections, row.counts = p, p.Sections(), countsOf(p)
			err = p.Err()
		}
		if err != nil {
			row.state, row.damage = "damaged", err.Error()
			cautions = append(cautions, row.damage)
		}
		if row.pack != nil {
			cautions = append(cautions, a.ageCautions(p)...)
		}
		rows = append(rows, row)
	}
	return a.carriedRows(rows, cautions)
}

func (a *app) carriedRows(rows []carriedSite, cautions []string) error {
	w, err := output.New(a.config(), "carried_sites", a.carriedColumns())
	if err != nil {
		return err
	}
	for _, r := range rows {
		if err := w.Row(r); err != nil {
			return err
		}
	}
	note := cautionNote(cautions)
	if len(rows) == 0 {
		note.Text = append(note.Text, "trackctl carry SITE brings the data of a site to this device")
	}
	return w.Close(note)
}

func (a *app) carriedColumns() []output.Column[carriedSite] {
	known := func(value func(carriedSite) any) func(carriedSite) any {
		return func(c carriedSite) any {
			if c.pack == nil {
				return nil
			}
			return value(c)
		}
	}
	age := func(c carriedSite) string {
		if c.pack == nil {
			return c.state
		}
		return ageWords(max(0, a.now().Sub(c.pack.AsOf())))
	}
	return []output.Column[carriedSite]{
		{Name: "site", Heading: "SITE", Value: func(c carriedSite) any { return c.site }},
		{Name: "state", Value: func(c carriedSite) any { return c.state }},
		{Name: "as_of", Value: known(func(c carriedSite) any { return c.pack.AsOf() })},
		{Heading: "AS OF", Text: func(c carriedSite) string {
			if c.pack == nil {
				return ""
			}
			return dateOfData(c.pack)
		}},
		{Name: "age_seconds", Value: known(func(c carriedSite) any { return int64(a.now().Sub(c.pack.AsOf()).Seconds()) })},
		{Heading: "AGE", Text: age},
		{Name: "cells", Value: known(func(c carriedSite) any { return c.counts.cells })},
		{Name: "joints", Heading: "JOINTS", Value: known(func(c carriedSite) any { return c.counts.joints })},
		{Name: "specifications", Value: known(func(c carriedSite) any { return c.counts.specifications })},
		{Name: "lots", Heading: "LOTS", Value: known(func(c carriedSite) any { return c.counts.lots })},
		{Name: "tools", Heading: "TOOLS", Value: known(func(c carriedSite) any { return c.counts.tools })},
		{Name: "people", Heading: "PEOPLE", Value: known(func(c carriedSite) any { return c.counts.people })},
		{Name: "batches", Value: known(func(c carriedSite) any { return c.counts.batches })},
		{Name: "sections", Value: known(func(c carriedSite) any { return c.sections })},
		{Name: "sections_received", Value: func(c carriedSite) any { return c.received }},
		{Name: "bytes_received", Value: func(c carriedSite) any { return c.receivedBytes }},
		{Name: "bytes", Heading: "SIZE", Value: known(func(c carriedSite) any { return c.pack.Size() }), Text: func(c carriedSite) string {
			if c.pack == nil {
				return ""
			}
			return bytesText(c.pack.Size())
		}},
		{Name: "same_rules", Value: known(func(c carriedSite) any { return c.pack.SameRules() })},
		{Name: "damage", Value: func(c carriedSite) any { return text(c.damage) }},
	}
}

// bytesText is a size as people read it.
func bytesText(n int64) string {
	switch {
	case n < 1000:
		return fmt.Sprintf("%d B", n)
	case n < 1_000_000:
		return fmt.Sprintf("%d kB", (n+500)/1000)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

// broughtLine says what came for a site.
func broughtLine(c carriedSite) string {
	came := fmt.Sprintf("%d of %s came, %s", c.received, counted(c.sections, "part"), bytesText(c.receivedBytes))
	switch c.received {
	case 0:
		came = "nothing had changed"
	case c.sections:
		came = bytesText(c.receivedBytes) + " came"
	}
	return fmt.Sprintf("carried: %s as of %s: %s; %s; %s on this device",
		ledger.Place{Site: c.site}, dateOfData(c.pack), c.counts, came, bytesText(c.pack.Size()))
}
