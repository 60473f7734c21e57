package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
)

// Free space on the device's disk. An entry takes about half a kilobyte and a large
// site five megabytes; below these a photo or an update of something else fills it.
// Common practice, no source.
const (
	diskLook  = 200 << 20
	diskWrong = 20 << 20
)

// checkZone says which zone this device tells time in.
func (a *app) checkZone() deviceCheck {
	now := a.now()
	_, offset := now.Zone()
	c := deviceCheck{name: "time zone", state: checkOK, message: now.Format("MST, UTC-07:00")}
	for _, site := range a.carriedSites() {
		p, ok, err := a.carriedFor(site)
		if err != nil || !ok {
			continue // said where the carried data are looked at
		}
		if _, there := now.In(p.Location()).Zone(); there != offset {
			c.state = checkLook
			c.message += fmt.Sprintf("; at %s it is %s (%s)", site, now.In(p.Location()).Format("15:04"), p.Location())
			c.remedy = "set the zone of this device to the site's, or give --at with its zone"
		}
	}
	return c
}

// checkFolder looks at the folder that everything is kept in, and at its disk.
func (a *app) checkFolder() []deviceCheck {
	c := deviceCheck{name: "folder", state: checkOK}
	folder, err := a.deviceFolder()
	if err != nil {
		c.state, c.message, c.remedy = checkWrong, err.Error(), "without it nothing can be kept on this device"
		return []deviceCheck{c}
	}
	c.message = folder
	// The nearest folder that is there is where it would be made.
	standing := folder
	for {
		info, err := os.Stat(standing)
		if err == nil && info.IsDir() {
			break
		}
		if err == nil || !errors.Is(err, fs.ErrNotExist) || standing == filepath.Dir(standing) {
			c.state, c.message, c.remedy = checkWrong, folder+" is no folder or can't be read", "name another with --folder"
			return []deviceCheck{c}
		}
		standing = filepath.Dir(standing)
	}
	probe, err := os.CreateTemp(standing, ".probe-*")
	if err != nil {
		c.state, c.message, c.remedy = checkWrong, fmt.Sprintf("%s can't be written: %v", folder, errors.Unwrap(err)), "give yourself the right to write there, or name another with --folder"
	} else if err := errors.Join(probe.Close(), os.Remove(probe.Name())); err != nil {
		c.state, c.message = checkLook, fmt.Sprintf("%s: a file that was made to try it can't be removed: %v", folder, err)
	} else if standing != folder {
		c.message += " (not there yet)"
	}
	return []deviceCheck{c, checkDisk(standing)}
}

func checkDisk(folder string) deviceCheck {
	c := deviceCheck{name: "disk", state: checkOK}
	free, err := diskFree(folder)
	if err != nil {
		c.state, c.message = checkLook, fmt.Sprintf("the free space can't be told: %v", err)
		return c
	}
	c.message = size(free) + " free"
	switch {
	case free < diskWrong:
		c.state, c.remedy = checkWrong, "make room: the next entry may not be kept"
	case free < diskLook:
		c.state, c.remedy = checkLook, "make room soon"
	}
	return c
}

// size writes a number of bytes for a person.
func size(bytes uint64) string {
	const step = 1024
	v, unit := float64(bytes), "bytes"
	for _, u := range []string{"KiB", "MiB", "GiB", "TiB"} {
		if v < step {
			break
		}
		v, unit = v/step, u
	}
	if unit == "bytes" {
		return counted(int(bytes), "byte")
	}
	return fmt.Sprintf("%.1f %s", v, unit)
}

// carriedSites are the sites whose data this device carries; none where nothing can
// be told.
func (a *app) carriedSites() []string {
	folder, err := a.carriedFolder()
	if err != nil {
		return nil
	}
	sites, err := pack.Sites(folder)
	if err != nil {
		return nil
	}
	return sites
}

// checkCarried says of each site that is carried how old its data are.
func (a *app) checkCarried() []deviceCheck {
	var checks []deviceCheck
	for _, site := range a.carriedSites() {
		c := deviceCheck{name: "carried " + site, state: checkOK}
		p, ok, err := a.carriedFor(site)
		if err != nil {
			c.state, c.message, c.remedy = checkWrong, err.Error(), "run trackctl carry "+site+" again"
			checks = append(checks, c)
			continue
		}
		if !ok {
			continue // dropped meanwhile
		}
		old := a.now().Sub(p.AsOf())
		c.message = fmt.Sprintf("data of %s, %s old, %s", p.AsOf().In(a.now().Location()).Format("2006-01-02 15:04"), ageWords(old), size(uint64(p.Size())))
		switch {
		case len(p.Frames()) < p.Sections():
			c.state, c.message, c.remedy = checkWrong, c.message+"; a part of them is damaged", "run trackctl carry "+site+" again"
		case old < -clockTolerance:
			c.state, c.message, c.remedy = checkLook, c.message+fmt.Sprintf("; by this device's clock of a time to come, by %s", ageWords(-old)), "one of the clocks is wrong: set this device's, since every entry carries its time"
		case !p.SameRules():
			c.state, c.remedy = checkLook, "the server judges by other rules than this trackctl: bring the older of the two up to date"
		case old > oldData:
			c.state, c.remedy = checkLook, "refresh them with trackctl carry "+site+" when the server can be reached"
		}
		checks = append(checks, c)
	}
	if len(checks) == 0 {
		checks = append(checks, deviceCheck{"carried data", checkLook, "no site is carried: entries need the server", "run trackctl carry SITE before you go where there is no signal"})
	}
	return checks
}

// checkOutbox looks at what waits to be sent.
func (a *app) checkOutbox() []deviceCheck {
	c := deviceCheck{name: "entries that wait", state: checkOK, message: "none"}
	folder, err := a.deviceFolder()
	if err != nil {
		return nil // said of the folder
	}
	o := outbox.In(filepath.Join(folder, "outbox"))
	entries, err := o.Entries()
	if err != nil {
		c.state, c.message, c.remedy = checkWrong, err.Error(), "leave the folder as it is and ask whoever looks after the devices"
		return []deviceCheck{c}
	}
	checks := []deviceCheck{countWaiting(c, entries, a.now())}
	for _, d := range o.Damage() {
		checks = append(checks, deviceCheck{"outbox", checkLook, d.Sentence(), ""})
	}
	for _, f := range o.Aside() {
		checks = append(checks, deviceCheck{"outbox", checkLook, "a damaged part was set aside in " + f, "keep the file until somebody has looked at it"})
	}
	return checks
}

func countWaiting(c deviceCheck, entries []*outbox.Entry, now time.Time) deviceCheck {
	waiting, refused := 0, 0
	var oldest time.Time
	for _, e := range entries {
		switch e.State {
		case outbox.Waiting:
			if waiting++; oldest.IsZero() || e.KeptAt.Before(oldest) {
				oldest = e.KeptAt
			}
		case outbox.Refused:
			refused++
		default: // nothing to do for the others
		}
	}
	if waiting > 0 {
		c.message = fmt.Sprintf("%d to be sent, the oldest kept %s ago", waiting, ageWords(now.Sub(oldest)))
		if now.Sub(oldest) > oldData {
			c.state, c.remedy = checkLook, "send them with trackctl send where there is signal"
		}
	}
	if refused > 0 {
		c.state = checkLook
		c.message += fmt.Sprintf("; %d refused by the server", refused)
		c.remedy = "see trackctl pending, then mend or withdraw each"
	}
	return c
}

// checkInHand says when what is kept for the shift is another shift's.
func (a *app) checkInHand() []deviceCheck {
	h, err := a.inHand()
	if err != nil {
		return []deviceCheck{{"shift", checkWrong, err.Error(), "run trackctl at --clear"}}
	}
	var old []string
	for _, key := range handKeys {
		if kept, ok := h[key]; ok && kept.anotherShift(a.now()) {
			old = append(old, key)
		}
	}
	if len(old) == 0 {
		return nil
	}
	return []deviceCheck{{"shift", checkLook, fmt.Sprintf("%s kept more than %d hours ago", wasOrWere(old), shiftHours), "keep it anew with trackctl at, or forget it with trackctl at --clear"}}
}
