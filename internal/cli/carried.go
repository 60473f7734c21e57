package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"time"

	"jointledger/internal/carry/pack"
	"jointledger/internal/ledger"
)

// oldData is the age from which on carried data are told to be old: a shift's work
// by others, and a night's at the crib, are not in them.
const oldData = 24 * time.Hour

// carriedFolder is the folder with the carried data of each site.
func (a *app) carriedFolder() (string, error) {
	folder, err := a.deviceFolder()
	return filepath.Join(folder, "carried"), err
}

// carriedFor opens the carried data of a site, once in a run; false when the device
// has none of it. It fails with exitIO when they are damaged or can't be read.
func (a *app) carriedFor(site string) (*pack.Pack, bool, error) {
	if p := a.carried[site]; p != nil {
		return p, true, nil
	}
	folder, err := a.carriedFolder()
	if err != nil {
		return nil, false, err
	}
	p, err := pack.Open(folder, site)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, carriedFailure(site, err)
	}
	if a.carried == nil {
		a.carried = map[string]*pack.Pack{}
	}
	a.carried[site] = p
	return p, true, nil
}

// carriedFailure tells of carried data that can't be read.
func carriedFailure(site string, err error) *failure {
	var damaged *pack.Damaged
	if errors.As(err, &damaged) {
		return &failure{code: exitIO, message: damaged.Error()}
	}
	return &failure{code: exitIO, message: fmt.Sprintf("the carried data of %s can't be read: %v", site, err)}
}

// dateOfData is the moment of the carried data, on the clock of their site.
func dateOfData(p *pack.Pack) string { return p.AsOf().In(p.Location()).Format("2006-01-02 15:04 MST") }

// ageCautions say what makes carried data worse than the server's; nil for nothing.
func (a *app) ageCautions(p *pack.Pack) []string {
	var cautions []string
	site := p.Site().Code
	switch age := a.now().Sub(p.AsOf()); {
	case age > oldData:
		cautions = append(cautions, fmt.Sprintf("the carried data of %s are %s old; trackctl carry %[1]s brings new ones where there is signal", site, ageWords(age)))
	case age < -5*time.Minute:
		cautions = append(cautions, fmt.Sprintf("by this device's clock the carried data of %s are of a time to come, by %s: one of the clocks is wrong", site, ageWords(-age)))
	}
	if !p.SameRules() {
		cautions = append(cautions, "the server that gave the data of "+site+" has another table of rules than this trackctl: it may find other things; keep both at one version")
	}
	return cautions
}

// ageWords is an age in the one unit that says enough.
func ageWords(age time.Duration) string {
	switch {
	case age < time.Minute:
		return "less than a minute"
	case age < 2*time.Hour:
		return counted(int(age/time.Minute), "minute")
	case age < 48*time.Hour:
		return counted(int(age/time.Hour), "hour")
	}
	return counted(int(age/(24*time.Hour)), "day")
}

// packPlaces are the places of a site as they are carried.
type packPlaces struct{ *pack.Pack }

func (p packPlaces) has(place ledger.Place) bool { return p.Has(place) }

func (p packPlaces) endingIn(here ledger.Place, text string, depths []int) []ledger.Place {
	return p.Find(here, text, depths...)
}
