package pack

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// Pack is the carried data of one site. Sections are read when they are first
// needed. It may be used by several goroutines at once; what it gives is shared and
// must not be changed.
type Pack struct {
	head     Head
	size     int64
	sections []placed
	zone     *time.Location
	plan     section.PlanRead

	mu      sync.Mutex
	file    *os.File
	read    map[string]any // the sections that were read, by name
	damaged error
}

var (
	_ known.Source  = (*Pack)(nil)
	_ known.Records = (*Pack)(nil)
)

// Open opens the carried data of a site in a folder. Errors: os.ErrNotExist when
// there are none; *Damaged when they can't be read.
func Open(folder, site string) (*Pack, error) {
	f, head, sections, err := openFile(folder, site)
	if err != nil {
		return nil, err
	}
	p := &Pack{head: head, sections: sections, file: f, read: map[string]any{}}
	if n := len(sections); n > 0 {
		p.size = sections[n-1].offset + sections[n-1].length
	}
	plan, found := part(p, section.Plan, func(_ string, content []byte) (section.PlanRead, error) { return section.ReadPlan(content) })
	if !found && p.damaged == nil {
		p.damaged = &Damaged{site, fmt.Errorf("the section %s is missing", section.Plan)}
	}
	if p.damaged == nil {
		p.plan = plan
		if p.zone, err = time.LoadLocation(plan.Site.TimeZone); err != nil {
			p.damaged = &Damaged{site, fmt.Errorf("its time zone %q is not known to this program", plan.Site.TimeZone)}
		}
	}
	if p.damaged != nil {
		p.Close() //nolint:errcheck // the damage counts
		return nil, p.damaged
	}
	return p, nil
}

// Close ends the use of the file. Sections that were read may still be asked for.
func (p *Pack) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.file.Close()
}

// AsOf is when the server read the data.
func (p *Pack) AsOf() time.Time { return p.head.AsOf }

// Size is that of the file, in bytes.
func (p *Pack) Size() int64 { return p.size }

// Sections is how many sections the data have.
func (p *Pack) Sections() int { return len(p.sections) }

// SameRules says whether the server's table of rules was the one of this program.
func (p *Pack) SameRules() bool { return p.head.RulesSum == section.RulesSum() }

// Err is the first damage that was met while sections were read; nil for none. What
// is damaged is told as not known, so whoever has judged by a pack asks here whether
// that was all.
func (p *Pack) Err() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.damaged
}

// frame reads a section's bytes from the file.
func (p *Pack) frame(s placed) ([]byte, error) {
	frame := make([]byte, s.length)
	_, err := p.file.ReadAt(frame, s.offset)
	return frame, err
}

func (p *Pack) find(name string) (placed, bool) {
	i, found := slices.BinarySearchFunc(p.sections, name, func(s placed, name string) int { return strings.Compare(s.Name, name) })
	if !found {
		return placed{}, false
	}
	return p.sections[i], true
}

// part gives a section, read by a function when it is needed first; false when there
// is none, or when it is damaged.
func part[T any](p *Pack, name string, read func(name string, content []byte) (T, error)) (value T, known bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if v, ok := p.read[name]; ok {
		return v.(T), true
	}
	s, found := p.find(name)
	if !found {
		return value, false
	}
	frame, err := p.frame(s)
	if err == nil {
		var whole section.Section
		if whole, err = section.Unpack(name, frame, s.Sum); err == nil {
			value, err = read(name, whole.Content)
		}
	}
	if err != nil {
		if p.damaged == nil {
			p.damaged = &Damaged{p.head.Site, err}
		}
		return value, false
	}
	p.read[name] = value
	return value, true
}

// Location is the zone of the site.
func (p *Pack) Location() *time.Location { return p.zone }

// Joint is a joint of the site with the tightenings it has had.
func (p *Pack) Joint(place ledger.Place) (known.JointPast, bool) {
	j, ok := p.JointWork(place)
	return j.JointPast, ok
}

// JointWork is a joint of the site with how far its work has come.
func (p *Pack) JointWork(place ledger.Place) (known.JointWork, bool) {
	if place.Depth() != 4 {
		return known.JointWork{}, false
	}
	cell, ok := p.Cell(place.Parent())
	if !ok {
		return known.JointWork{}, false
	}
	// The server sorts by the collation of its database, so look at each.
	for i := range cell.Joints {
		if cell.Joints[i].Joint.Place == place {
			return cell.Joints[i], true
		}
	}
	return known.JointWork{}, false
}

// Cell is a cell of the site with its joints.
func (p *Pack) Cell(place ledger.Place) (known.CellPast, bool) {
	if place.Depth() != 3 || place.Site != p.head.Site {
		return known.CellPast{}, false
	}
	return part(p, section.CellName(place), section.ReadCell)
}

func (p *Pack) specification(code string) (known.SpecificationPast, bool) {
	return part(p, section.Specifications+code, section.ReadSpecification)
}

// Revisions are those of a specification, the oldest first.
func (p *Pack) Revisions(code string) []ledger.Specification {
	s, _ := p.specification(code)
	return s.Revisions
}

// Substitutions are those approved for a specification.
func (p *Pack) Substitutions(code string) []ledger.Substitution {
	s, _ := p.specification(code)
	return s.Substitutions
}

// Lot is a lot that came to the site or was used there. Its state is the one that is
// kept; whether it is in quarantine is in its holds.
func (p *Pack) Lot(number string) (known.LotPast, bool) {
	return part(p, section.Lots+number, section.ReadLot)
}

// Tool is a tool of the site, or one that is or was lately there.
func (p *Pack) Tool(serial string) (known.ToolPast, bool) {
	return part(p, section.Tools+serial, section.ReadTool)
}

// Person is somebody of the site, or who was lately on record there.
func (p *Pack) Person(code string) (ledger.Person, bool) {
	people := p.People()
	if i := slices.IndexFunc(people, func(v ledger.Person) bool { return v.ID == code }); i >= 0 {
		return people[i], true
	}
	return ledger.Person{}, false
}

// Batch is a batch of a consumable, wherever it is.
func (p *Pack) Batch(number string) (ledger.Batch, bool) {
	batches := p.Batches()
	if i := slices.IndexFunc(batches, func(v ledger.Batch) bool { return v.Number == number }); i >= 0 {
		return batches[i], true
	}
	return ledger.Batch{}, false
}
