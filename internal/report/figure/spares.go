package figure

import (
	"fmt"
	"math"
)

// Spares is what hardware the remaining installs may take against what is on hand.
type Spares struct {
	Caption
	// ServiceLevel is the probability that the greatest need suffices, strictly
	// between 0 and 1.
	ServiceLevel float64 `json:"service_level"`
	// Items in the order of reading, the most urgent first.
	Items []SparesItem `json:"items"`
	// Most is how many items are drawn; 20 when 0.
	Most int `json:"most"`
}

// SparesItem is one fastener at one site.
type SparesItem struct {
	Fastener string `json:"fastener"`
	Site     string `json:"site"`
	// Remaining is how many have still to be installed well: the least need.
	Remaining int64 `json:"remaining"`
	// OnHand is what is fit for use; negative when more was used than received.
	OnHand int64 `json:"on_hand"`
	// Need is the greatest need, losses included, at the service level; nil when no
	// number suffices or nothing is known of losses. MeanNeed is the mean one.
	Need     *int64   `json:"need"`
	MeanNeed *float64 `json:"mean_need"`
	// RunOut is the probability that what is on hand does not suffice.
	RunOut *float64 `json:"run_out"`
	// Order is how many to order, 0 for none; OrderBy the last day for that, Late
	// when it has passed.
	Order   *int64 `json:"order"`
	OrderBy *Day   `json:"order_by"`
	Late    bool   `json:"late"`
}

// Name of the figure.
func (f *Spares) Name() string { return "Spare hardware at risk" }

// Validate finds what cannot be drawn.
func (f *Spares) Validate() error {
	c := checks{err: f.validate()}
	c.require(f.ServiceLevel > 0 && f.ServiceLevel < 1, "must lie between 0 and 1, both excluded", "service_level")
	for i, s := range f.Items {
		field := fmt.Sprintf("items[%d]", i)
		c.name(s.Fastener, "%s.fastener", field)
		c.count(s.Remaining, "%s.remaining", field)
		c.number(float64(s.OnHand), "%s.on_hand", field)
		if s.Need != nil {
			c.require(*s.Need >= s.Remaining && float64(*s.Need) <= greatest, "must be at least what remains", "%s.need", field)
		}
		if s.MeanNeed != nil {
			c.require(*s.MeanNeed >= float64(s.Remaining) && finite(*s.MeanNeed), "must be a finite number of at least what remains", "%s.mean_need", field)
		}
		if s.RunOut != nil {
			c.require(*s.RunOut >= 0 && *s.RunOut <= 1, "must be a probability", "%s.run_out", field)
		}
		if s.Order != nil {
			c.count(*s.Order, "%s.order", field)
		}
		if s.OrderBy != nil {
			c.day(*s.OrderBy, "%s.order_by", field)
		}
	}
	return c.err
}

func (f *Spares) drawn() []SparesItem { return f.Items[:most(f.Most, 20, len(f.Items))] }

// Share is a quantity as a percentage of the installs that remain, which puts a few
// bolts and thousands on one axis; nothing can be said where none remains.
func (s SparesItem) Share(quantity float64) (percent float64, ok bool) {
	if s.Remaining == 0 {
		return 0, false
	}
	return 100 * quantity / float64(s.Remaining), true
}

const (
	sparesFrom, sparesTo   = 200.0, 398.0
	sparesTop, sparesRow   = 34.0, 28.0
	sparesHand, sparesNeed = 462.0, 522.0
	sparesOut              = 562.0
)

// axis begins below the least stock and ends beyond the greatest need, both within
// reason.
func (f *Spares) axis() axis {
	low, high := 95.0, 105.0
	for _, s := range f.drawn() {
		if stock, ok := s.Share(float64(s.OnHand)); ok {
			low, high = min(low, max(stock, 0)), max(high, min(stock, 130))
			if s.Need != nil {
				need, _ := s.Share(float64(*s.Need))
				high = max(high, min(need, 200))
			}
		}
	}
	pad := 0.04 * (high - low)
	return linear(max(low-pad, 0), high+pad, sparesFrom, sparesTo, 5)
}

// SVG draws the figure.
func (f *Spares) SVG(id string) string {
	c := &canvas{id: id}
	items := f.drawn()
	if len(items) == 0 {
		return c.nothing(f)
	}
	a := f.axis()
	bottom := sparesTop + sparesRow*float64(len(items))
	c.bold(4, sparesTop-10, start, "Fastener, site")
	c.bold(sparesHand, sparesTop-10, end, "on hand")
	c.bold(sparesNeed, sparesTop-10, end, "need")
	c.bold(sparesOut, sparesTop-25, end, "runs")
	c.bold(sparesOut, sparesTop-10, end, "out")
	c.bold(pageWidth-2, sparesTop-10, end, "order, by")
	c.ruler(a, sparesTop, bottom, 5, func(v float64) string { return Number(v) + " %" }, "share of the installs that remain")
	for i, s := range items {
		s.row(c, a, sparesTop+sparesRow*float64(i)+sparesRow/2)
	}
	if m := more(len(f.Items), len(items)); m != "" {
		c.text(4, bottom+16, start, m)
	}
	c.height = c.legend(bottom+56, []legendEntry{
		{30, func(x, y float64) { c.need(x, x+12, x+24, y) }, "need: no loss, mean, greatest at " + Percent(f.ServiceLevel) + " service"},
		c.sample(diamond, true, "on hand, too little"), c.sample(diamond, false, "on hand, enough"),
		c.sample(square, false, "on hand, need not known"), c.sample(right, true, "beyond the axis, or without limit"),
	})
	return c.finish(f.Name(), f.Description())
}

// tooLittle says that what is on hand does not suffice at the service level.
func (s SparesItem) tooLittle() bool {
	return s.OnHand < s.Remaining || s.Need != nil && s.OnHand < *s.Need
}

func (s SparesItem) row(c *canvas, a axis, y float64) {
	c.text(4, y+4, start, fitted(s.name(), sparesFrom-12))
	need, runOut, write := "?", "–", c.text
	if s.Need != nil {
		need = Count(*s.Need)
	}
	if s.RunOut != nil {
		runOut = chance(*s.RunOut)
		if *s.RunOut >= 0.5 {
			write = c.bold
		}
	}
	c.text(sparesHand, y+4, end, fitted(Count(s.OnHand), sparesHand-sparesTo-6))
	c.text(sparesNeed, y+4, end, fitted(need, sparesNeed-sparesHand-6))
	write(sparesOut, y+4, end, runOut)
	c.text(pageWidth-2, y+4, end, s.order())
	if s.Remaining > 0 {
		s.needs(c, a, y+5)
		s.stock(c, a, y-6)
	}
}

// needs draws the need from what remains to the greatest, with the mean in between.
func (s SparesItem) needs(c *canvas, a axis, y float64) {
	upTo, mean := a.to, -1.0
	bounded := false
	if s.Need != nil {
		v, _ := s.Share(float64(*s.Need))
		upTo, bounded = a.at(v), a.holds(v)
	}
	if s.MeanNeed != nil {
		if v, _ := s.Share(*s.MeanNeed); a.holds(v) {
			mean = a.at(v)
		}
	}
	c.need(a.at(100), mean, upTo, y)
	if !bounded {
		c.mark("unbounded", right, a.to-3, y, 4, true, "")
	}
}

// need draws a bar with upright ends and a gap at the mean; none where that is
// negative.
func (c *canvas) need(from, mean, to, y float64) {
	c.stroke("need", from, y, to, y, 4, ink, solid)
	c.stroke("limit", from, y-4.5, from, y+4.5, 1.2, ink, solid)
	c.stroke("limit", to, y-4.5, to, y+4.5, 1.2, ink, solid)
	if mean >= 0 {
		c.stroke("mean", mean, y-4.5, mean, y+4.5, 3.2, ink, solid)
		c.stroke("", mean, y-3.5, mean, y+3.5, 1.4, "#fff", solid)
	}
}

func (s SparesItem) stock(c *canvas, a axis, y float64) {
	v, _ := s.Share(float64(s.OnHand))
	shape, x := diamond, a.at(v)
	switch {
	case v > a.high:
		shape, x = right, a.to-4
	case v < a.low:
		shape, x = left, a.from+4
	case s.Need == nil && !s.tooLittle():
		shape = square
	}
	c.mark("stock", shape, x, y, 4.2, s.tooLittle(), fmt.Sprintf("%s: %s on hand, %s %% of what remains", s.name(), Count(s.OnHand), Number(math.Round(v))))
}

// chance writes a probability that is a forecast, and so never 0 or 1.
func chance(p float64) string { return Percent(min(max(p, 1e-9), 1-1e-9)) }

func (s SparesItem) name() string {
	if s.Site == "" {
		return s.Fastener
	}
	return s.Fastener + ", " + s.Site
}

// order says what to order by when.
func (s SparesItem) order() string {
	if s.Order == nil {
		return "–"
	}
	if *s.Order == 0 {
		return "none"
	}
	text := Count(*s.Order)
	switch {
	case s.Late:
		return text + ", late"
	case s.OrderBy != nil:
		return text + ", " + string(*s.OrderBy)
	}
	return text
}

// Description says what the picture shows.
func (f *Spares) Description() string {
	short := 0
	for _, s := range f.Items {
		if s.tooLittle() {
			short++
		}
	}
	return fmt.Sprintf("%s For each of %d items the need as a line and the stock as a mark; %d have too little for a service level of %s. The figures are in the table.",
		f.Finding, len(f.drawn()), short, Percent(f.ServiceLevel))
}

// Table holds the figures.
func (f *Spares) Table() Table {
	t := Table{Head: []string{"fastener", "site", "order", "remaining", "mean need", "greatest need", "on hand", "runs out"}, TextColumns: 3, More: more(len(f.Items), len(f.drawn()))}
	for _, s := range f.drawn() {
		need, runOut := "–", "–"
		if s.Need != nil {
			need = Count(*s.Need)
		}
		if s.RunOut != nil {
			runOut = chance(*s.RunOut)
		}
		t.Rows = append(t.Rows, []string{s.Fastener, s.Site, s.order(), Count(s.Remaining), optional(s.MeanNeed), need, Count(s.OnHand), runOut})
	}
	return t
}
