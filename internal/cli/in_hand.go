package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
)

// shiftHours is the longest time that belongs to one shift: twelve hours of work and
// the way there and back (common practice, no source).
const shiftHours = 14

// handKeys are what can be kept for the shift, in the order in which it is shown. Each
// but the place is the flag of the entry commands that it stands for.
var handKeys = []string{"place", "tool", "torque", "lot", "treatment", "batch", "method", "person"}

// keptValue is one thing that is kept for the shift.
type keptValue struct {
	Value string    `toml:"value"`
	Since time.Time `toml:"since"`
}

// anotherShift says that it was kept so long ago that somebody else may have.
func (k keptValue) anotherShift(now time.Time) bool { return now.Sub(k.Since) > shiftHours*time.Hour }

// inHand is what a person works at and with for the shift, by handKeys.
type inHand map[string]keptValue

// inHand reads what is kept for the shift; nothing where nothing is. It fails with
// exitConfig when the file can't be read.
func (a *app) inHand() (inHand, error) {
	if a.hand != nil {
		return a.hand, nil
	}
	path, err := a.atFile()
	if err != nil {
		// No folder to look in: nothing is kept.
		a.hand = inHand{}
		return a.hand, nil //nolint:nilerr // see above
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		a.hand = inHand{}
		return a.hand, nil
	}
	read := inHand{}
	if err == nil {
		err = toml.Unmarshal(data, &read)
	}
	if err != nil {
		return nil, &failure{code: exitConfig, message: fmt.Sprintf("what is kept for the shift can't be read: %v", err),
			lines: []string{"trackctl at --clear forgets it; the file is " + path}}
	}
	a.hand = read
	return read, nil
}

// keepInHand writes what is kept for the shift.
func (a *app) keepInHand(h inHand) error {
	path, err := a.atFile()
	if err != nil {
		return err
	}
	data, err := toml.Marshal(h)
	if err != nil {
		return &failure{code: exitInternal, message: err.Error()}
	}
	if err := writeDeviceFile(path, data); err != nil {
		return err
	}
	a.hand = h
	return nil
}

// here is the current place; false when none is kept.
func (a *app) here() (ledger.Place, bool, error) {
	h, err := a.inHand()
	if err != nil {
		return ledger.Place{}, false, err
	}
	kept, ok := h["place"]
	if !ok {
		return ledger.Place{}, false, nil
	}
	place, err := ledger.ParsePlace(kept.Value)
	return place, err == nil, nil
}

// fillIn gives the flags that were not given the values that are kept for the shift.
// What goes with something else is left out where that is another than the one kept:
// a torque with its tool, a batch with its treatment.
func (a *app) fillIn(f *fields, flags ...string) error {
	h, err := a.inHand()
	if err != nil {
		return err
	}
	given := func(name string) bool { return f.cmd.Flags().Changed(name) }
	for belongs, to := range map[string]string{"torque": "tool", "batch": "treatment"} {
		if given(to) && f.cmd.Flags().Lookup(to).Value.String() != h[to].Value {
			h = h.without(belongs)
		}
	}
	for _, name := range flags {
		kept, ok := h[name]
		if !ok || given(name) {
			continue
		}
		if err := f.cmd.Flags().Set(name, kept.Value); err != nil {
			return &failure{code: exitConfig, message: fmt.Sprintf("the %s kept for the shift: %v", name, err), lines: []string{"keep another with trackctl at --" + name}}
		}
		a.filledIn(name, kept)
	}
	return nil
}

// ofCurrentPlace is what the help of a site's flag says where siteHere fills it in.
const ofCurrentPlace = "; that of the current place when not given"

// siteHere gives an entry the site of the current place where none was given: a tool is
// lent, and a lot held, where somebody stands. A place of another shift may be yesterday's:
// then it must be said.
func (a *app) siteHere(f *fields, site *string) error {
	if *site != "" {
		return nil
	}
	here, somewhere, err := a.here()
	switch {
	case err != nil:
		return err
	case !somewhere:
		return f.require("site")
	}
	kept := keptValue{here.Site, a.hand["place"].Since}
	if kept.anotherShift(a.now()) {
		return &failure{code: exitUsage, message: fmt.Sprintf("%s needs --site: the current place, at %s, is of %s", f.cmd.CommandPath(), here.Site, kept.Since.In(a.now().Location()).Format("2006-01-02 15:04")),
			lines: []string{"say --site, or where you are now with trackctl at PLACE"}}
	}
	*site = "sites/" + here.Site
	a.filledIn("site", kept)
	return nil
}

func (h inHand) without(key string) inHand {
	rest := inHand{}
	for k, v := range h {
		if k != key {
			rest[k] = v
		}
	}
	return rest
}

// filled is one thing that was filled in.
type filled struct {
	name string
	keptValue
}

// filledIn notes what was filled in, once for a sheet of many lines.
func (a *app) filledIn(name string, kept keptValue) {
	if slices.ContainsFunc(a.filled, func(f filled) bool { return f.name == name }) {
		return
	}
	a.filled = append(a.filled, filled{name, kept})
}

// filledLines say for a person what was filled in, and what of it another shift kept.
func (a *app) filledLines() []string {
	if len(a.filled) == 0 {
		return nil
	}
	var words, old []string
	for _, f := range a.filled {
		words = append(words, f.name+" "+f.Value)
		if f.anotherShift(a.now()) {
			old = append(old, f.name)
		}
	}
	lines := []string{"filled in: " + strings.Join(words, ", ")}
	if len(old) > 0 {
		lines = append(lines, fmt.Sprintf("look: %s kept more than %d hours ago, by another shift; keep it anew with trackctl at, or forget it with trackctl at --clear", wasOrWere(old), shiftHours))
	}
	return lines
}

// filledObject gives what was filled in for programs.
func filledObject(all []filled) output.Object {
	object := output.Object{}
	for _, f := range all {
		object = append(object, output.Member{Key: f.name, Value: f.Value})
	}
	return object
}

func wasOrWere(names []string) string {
	if len(names) == 1 {
		return names[0] + " was"
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1] + " were"
}
