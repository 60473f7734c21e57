package shift

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
)

// sealedWith is what was typed for a sealing; most of it holds for the next too.
type sealedWith struct {
	texts [sealFields]string
	at    time.Time
}

// The fields of a sealing in the order in which they are asked for.
const (
	sealSealant = iota
	sealBatch
	sealWidth
	sealSurface
	sealAir
	sealHumidity
	sealCleaned
	sealSplice
	sealFields
)

var sealTitles = [sealFields]string{"sealant", "batch", "width", "surface", "air", "humidity %", "cleaned at", "splice"}

// seal is the screen of a sealing: a line each, Enter goes on, the last one keeps.
type seal struct {
	joint   *Joint
	texts   [sealFields]string
	fresh   [sealFields]bool
	at      int
	problem string
	// measured is when what is offered was typed; zero when nothing is.
	measured time.Time
}

func (m *Model) openSealing() tea.Cmd {
	j := m.current()
	if j == nil {
		return nil
	}
	if j.Asked != nil && j.Asked.Sealant == "" {
		m.say("%s asks for no sealant", j.Place.Joint)
		return nil
	}
	s := &seal{joint: j, texts: m.sealing.texts, measured: m.sealing.at}
	if s.measured.IsZero() {
		s.texts[sealSplice] = ledger.Splices.Name(ledger.Splice(1))
	}
	// When the flanges were cleaned is of this joint alone.
	s.texts[sealCleaned] = ""
	if j.Asked != nil {
		s.texts[sealSealant] = j.Asked.Sealant
	}
	for i := range s.fresh {
		s.fresh[i] = true
	}
	if s.texts[sealSealant] != "" {
		s.at = sealBatch
	}
	m.screen = s
	return nil
}

func (s *seal) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	switch k.String() {
	case "esc":
		m.screen = nil
	case "up", "shift+tab":
		s.at = max(0, s.at-1)
	case "down", "tab":
		s.at = min(sealFields-1, s.at+1)
	case "enter":
		return s.enter(m)
	default:
		s.texts[s.at], s.fresh[s.at] = edited(s.texts[s.at], k, s.fresh[s.at])
		s.problem = ""
	}
	return nil
}

func (s *seal) typed(_ *Model, text string) { s.texts[s.at] = clipped(s.texts[s.at] + text) }

// enter goes on to the next line; at the last one the sealing is kept, unless a
// line can't be read: then it goes there.
func (s *seal) enter(m *Model) tea.Cmd {
	if s.problem = m.sealProblem(s, s.at); s.problem != "" {
		return nil
	}
	if s.at < sealFields-1 {
		s.at++
		return nil
	}
	for i := range sealFields {
		if s.problem = m.sealProblem(s, i); s.problem != "" {
			s.at = i
			return nil
		}
	}
	r := &ledger.Sealing{Joint: s.joint.Place}
	for i := range sealFields {
		_ = m.readSeal(s, i, r) // each was read just now without a problem
	}
	m.sealing = sealedWith{texts: s.texts, at: m.work.Now()}
	m.screen = nil
	return m.keep(r, s.joint.Place.Joint+" sealed, "+r.Sealant)
}

// sealProblem says what is wrong with a line; empty for nothing.
func (m *Model) sealProblem(s *seal, field int) string {
	if err := m.readSeal(s, field, &ledger.Sealing{}); err != nil {
		return err.Error()
	}
	return ""
}

// readSeal reads a line into the record. All but the sealant may be left empty: what
// was not measured is not made up.
func (m *Model) readSeal(s *seal, field int, r *ledger.Sealing) error {
	text := strings.TrimSpace(s.texts[field])
	if text == "" {
		if field == sealSealant {
			return fmt.Errorf("expected the kind of sealant, such as strip")
		}
		return nil
	}
	var err error
	switch field {
	case sealSealant:
		r.Sealant = text
	case sealBatch:
		r.Batch = strings.ToUpper(text)
	case sealWidth:
		r.WidthMillimetres, err = m.readLength(text)
	case sealSurface:
		r.SurfaceCelsius, err = m.readTemperature(text)
	case sealAir:
		r.AirCelsius, err = m.readTemperature(text)
	case sealHumidity:
		var v float64
		v, err = strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(text, "%")), 64)
		if err != nil || !(v > 0 && v <= 100) {
			return fmt.Errorf("expected a relative humidity above 0 and at most 100, got %q", text)
		}
		r.HumidityPercent = &v
	case sealCleaned:
		r.CleanTime, err = m.readClock(text)
	case sealSplice:
		r.Splice, err = ledger.Splices.Parse(text)
	}
	return err
}

func (m *Model) us() bool { return m.work.Units() == ledger.UnitsUSCustomary }

func (m *Model) readLength(text string) (float64, error) {
	unit := quantity.Millimetre
	if m.us() {
		unit = quantity.Inch
	}
	v, err := quantity.ParseLengthIn(text, unit)
	if err != nil {
		return 0, err
	}
	return v.In(quantity.Millimetre), nil
}

func (m *Model) readTemperature(text string) (*float64, error) {
	unit := quantity.DegreeCelsius
	if m.us() {
		unit = quantity.DegreeFahrenheit
	}
	v, err := quantity.ParseTemperatureIn(text, unit)
	if err != nil {
		return nil, err
	}
	celsius := v.In(quantity.DegreeCelsius)
	return &celsius, nil
}

// readClock reads a time of the day; one that is still to come was yesterday's.
func (m *Model) readClock(text string) (time.Time, error) {
	t, err := time.Parse("15:04", strings.ReplaceAll(text, ".", ":"))
	if err != nil {
		return time.Time{}, fmt.Errorf("expected a time of the day such as 07:25, got %q", text)
	}
	now := m.work.Now()
	at := time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, now.Location())
	if at.After(now) {
		at = time.Date(now.Year(), now.Month(), now.Day()-1, t.Hour(), t.Minute(), 0, 0, now.Location())
	}
	return at, nil
}

func (s *seal) lines(m *Model, width, height int) []string {
	head := s.joint.Place.Joint + ": seal"
	if !s.measured.IsZero() {
		head += ", as typed at " + m.moment(s.measured)
	}
	lines := []string{bold(m.fit(head, width))}
	for i, title := range sealTitles {
		label := padded(title, 11)
		if i == s.at {
			lines = append(lines, "> "+label+m.field(s.texts[i], min(width-13, 40)))
		} else {
			lines = append(lines, m.fit("  "+label+s.texts[i], width))
		}
	}
	// Of a low screen the lines around the one that is typed are shown.
	if over := len(lines) + 2 - height; over > 0 {
		cut := min(over, s.at)
		lines = append(lines[:1:1], lines[1+cut:]...)
	}
	if s.problem != "" {
		lines = append(lines, m.wrap("LOOK: "+s.problem, width)...)
	} else if hint := m.sealHint(s.at); hint != "" {
		lines = append(lines, m.wrap(hint, width)...)
	}
	return lines
}

func (m *Model) sealHint(field int) string {
	length, temperature := "mm", "°C"
	if m.us() {
		length, temperature = "in", "°F"
	}
	switch field {
	case sealWidth:
		return "in " + length + " when no unit is typed; empty if not measured"
	case sealSurface, sealAir:
		return "in " + temperature + " when no unit is typed; empty if not measured"
	case sealSplice:
		return "none, corner or mid-run; Enter keeps it"
	case sealCleaned:
		return "such as 07:25; empty if not known"
	}
	return ""
}

func (s *seal) keys(*Model) []string {
	if s.at == sealFields-1 {
		return []string{"Enter keeps it", "Esc back"}
	}
	return []string{"Enter next line", "Esc back"}
}
