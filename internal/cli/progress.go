package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/forecast"
	"jointledger/internal/cli/output"
	"jointledger/internal/cli/scurve"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// progressOptions are the flags of progress.
type progressOptions struct {
	asOf, first string
	confidence  float64
}

func (a *app) progressCommand() *cobra.Command {
	o := progressOptions{confidence: 0.9}
	cmd := a.command("progress [PLACE]", "Joints finished a day, and when the rest will be",
		"PLACE is a site, tower or cell. "+placeHelp+"\n\nA joint is finished on the day, at the site, on\n"+
			"which its last fastener reached torque. Working days are Monday to Friday, and a\n"+
			"Saturday or Sunday that is worked at least every second time. Two weeks in which\n"+
			"nothing was finished are a stop and no part of the rate.\n\n"+output.Wrap("The finish: "+forecast.Method+"."))
	cmd.Example = "  trackctl progress rvb/ct2\n  trackctl progress rvb --first 2026-04-01 --confidence 0.8"
	f := newFields(cmd)
	f.day(&o.asOf, "as-of", "", "the day to look from: what was finished after it is left out; today when not given")
	f.day(&o.first, "first", "", "first day that counts for the rate; the day of the first joint when not given")
	f.bind("confidence", "", "NUMBER", "confidence of the prediction interval, above 0.5 and below 1; 0.9 when not given", func(text string) error {
		v, problem := csvfile.ParseNumber(text)
		if problem != "" || v <= 0.5 || v >= 1 {
			return fmt.Errorf("expected a number above 0.5 and below 1, got %s", csvfile.Quote(text))
		}
		o.confidence = v
		return nil
	})
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := a.placeAsked(args, 1, 2, 3)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := pb.NewProgressServiceClient(conn).GetProgress(ctx, &pb.GetProgressRequest{Place: place.Resource()})
		if err != nil {
			return err
		}
		p, err := a.reckonProgress(place, got, o)
		if err != nil {
			return err
		}
		return a.tellProgress(p)
	})
}

// progress is how far a place has come.
type progress struct {
	place      ledger.Place
	got        *pb.GetProgressResponse
	asOf       time.Time
	days       []progressDay
	finished   int64
	confidence float64
	// finish is nil when all is finished, or when no rate can be told.
	finish   *forecast.Finish
	cautions []string
}

// progressDay is one day on which joints were finished.
type progressDay struct {
	day          time.Time
	joints, sum  int64
	share        float64
	mostInOneDay int64
}

// reckonProgress works out what the numbers of a place say.
func (a *app) reckonProgress(place ledger.Place, got *pb.GetProgressResponse, o progressOptions) (*progress, error) {
	today := a.now()
	p := &progress{place: place, got: got, confidence: o.confidence, asOf: time.Date(today.Year(), today.Month(), today.Day(), 0, 0, 0, 0, time.UTC)}
	if o.asOf != "" {
		p.asOf = dayOf(o.asOf)
	}
	var done []forecast.Day
	most, later := int64(0), int64(0)
	for _, d := range got.GetDays() {
		day, err := time.Parse(time.DateOnly, d.GetDay())
		if err != nil {
			return nil, &failure{code: exitInternal, message: fmt.Sprintf("the server gave the day %q", d.GetDay())}
		}
		if day.After(p.asOf) {
			later += d.GetJoints()
			continue
		}
		p.finished += d.GetJoints()
		most = max(most, d.GetJoints())
		p.days = append(p.days, progressDay{day: day, joints: d.GetJoints(), sum: p.finished, share: float64(p.finished) / float64(max(got.GetJoints(), 1))})
		done = append(done, forecast.Day{Date: day, Done: d.GetJoints()})
	}
	for i := range p.days {
		p.days[i].mostInOneDay = most
	}
	if later > 0 {
		p.cautions = append(p.cautions, fmt.Sprintf("%s finished after %s; they are left out here", counted(int(later), "joint"), p.asOf.Format(time.DateOnly)))
	}
	if left := p.left(); left > 0 {
		return p, p.predict(forecast.Question{Days: done, Remaining: left, First: dayOf(o.first), AsOf: p.asOf, Confidence: o.confidence})
	}
	return p, nil
}

func (p *progress) left() int64 { return p.got.GetJoints() - p.finished }

// dayOf reads a day that a flag has checked already; zero for none.
func dayOf(text string) time.Time {
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return time.Time{}
	}
	return day
}

// predict says when the rest will be finished, and what speaks against it.
func (p *progress) predict(q forecast.Question) error {
	finish, err := forecast.Predict(q)
	if errors.Is(err, forecast.ErrTooEarly) {
		p.cautions = append(p.cautions, err.Error())
		return nil
	}
	if err != nil {
		return &failure{code: exitInternal, message: err.Error()}
	}
	p.finish = &finish
	p.cautions = append(p.cautions, "the finish assumes that work goes on at the rate of these days, with as many people and in the same weather")
	if finish.WorkingDays < 10 {
		p.cautions = append(p.cautions, fmt.Sprintf("the rate is that of only %s", counted(finish.WorkingDays, "working day")))
	}
	switch {
	case finish.Idle >= forecast.Stopped:
		p.cautions = append(p.cautions, fmt.Sprintf("no joint was finished on the last %d working days; the rate is that of the days before, as if work were taken up again on %s",
			finish.Idle, p.asOf.Format(time.DateOnly)))
	case finish.Idle >= 5:
		p.cautions = append(p.cautions, fmt.Sprintf("no joint was finished on the last %d working days; they count for the rate", finish.Idle))
	}
	if finish.Dispersion > 1 {
		p.cautions = append(p.cautions, fmt.Sprintf("the daily numbers scatter %s times as much as chance alone would have them; the interval is wider for it", rounded(finish.Dispersion, 1)))
	}
	if p.got.GetOnHold() > 0 {
		p.cautions = append(p.cautions, counted(int(p.got.GetOnHold()), "joint")+" on hold: what is to be done to them again is not reckoned with")
	}
	return nil
}

func (a *app) tellProgress(p *progress) error {
	w, err := output.New(a.config(), "days", progressColumns())
	if err != nil {
		return err
	}
	for _, d := range p.days {
		if err := w.Row(d); err != nil {
			return err
		}
	}
	return w.Close(p.notes()...)
}

func progressColumns() []output.Column[progressDay] {
	return []output.Column[progressDay]{
		{Name: "day", Heading: "DAY", Value: func(d progressDay) any { return d.day.Format(time.DateOnly) }},
		{Name: "joints", Heading: "JOINTS", Value: func(d progressDay) any { return d.joints }},
		{Name: "joints_in_all", Heading: "IN ALL", Value: func(d progressDay) any { return d.sum }},
		{Name: "share_pct", Heading: "%", Value: func(d progressDay) any { return 100 * d.share }, Text: func(d progressDay) string { return rounded(100*d.share, 1) }},
		{Heading: "A DAY", Text: func(d progressDay) string {
			return strings.Repeat("#", int((d.joints*40+d.mostInOneDay-1)/max(d.mostInOneDay, 1)))
		}},
	}
}

func (p *progress) notes() []output.Note {
	counts := map[pb.JointState]int64{}
	for _, s := range p.got.GetStates() {
		counts[s.GetState()] = s.GetJoints()
	}
	states, words := stateCounts(counts, "accepted")
	sum := fmt.Sprintf("%s: %d of %s finished by %s; now %s; %d on hold", p.place, p.finished, counted(int(p.got.GetJoints()), "joint"),
		p.asOf.Format(time.DateOnly), words, p.got.GetOnHold())
	if p.got.GetJoints() == 0 {
		sum = noJoints(p.place)
	}
	notes := []output.Note{
		{Text: p.curve()},
		{Key: "place", Value: p.place.String(), Text: []string{sum}},
		{Key: "as_of", Value: p.asOf.Format(time.DateOnly)},
		{Key: "joints", Value: p.got.GetJoints()},
		{Key: "finished", Value: p.finished},
		{Key: "remaining", Value: p.left()},
		{Key: "states", Value: states},
		{Key: "on_hold", Value: p.got.GetOnHold()},
		{Key: "planned_finish", Value: text(p.got.GetPlannedFinish()), Text: given("planned finish: ", p.got.GetPlannedFinish())},
	}
	return append(notes, p.finishNote(), cautionNote(p.cautions))
}

// curve is the S-curve; nothing before the first joint is finished.
func (p *progress) curve() []string {
	if len(p.days) == 0 {
		return nil
	}
	c := scurve.Curve{Whole: p.got.GetJoints()}
	for _, d := range p.days {
		c.Done = append(c.Done, scurve.Point{Day: d.day, Total: d.sum})
	}
	legend := "* finished"
	if p.finish != nil && !p.finish.Expected.IsZero() {
		c.From, c.Expected = p.asOf, p.finish.Expected
		c.Marks = append(c.Marks, scurve.Mark{Day: p.finish.Earliest, Letter: '['}, scurve.Mark{Day: p.finish.Expected, Letter: 'E'})
		legend += "   . to come   [ earliest, E expected, ] latest finish"
		// A latest finish far out would squeeze all the rest into the corner.
		if span := p.finish.Expected.Sub(c.Done[0].Day); !p.finish.Latest.IsZero() && p.finish.Latest.Sub(c.Done[0].Day) < 2*span {
			c.Marks = append(c.Marks, scurve.Mark{Day: p.finish.Latest, Letter: ']'})
		}
	}
	if planned := dayOf(p.got.GetPlannedFinish()); !planned.IsZero() {
		c.Marks = append(c.Marks, scurve.Mark{Day: planned, Letter: 'P'})
		legend += "   P planned finish"
	}
	return append(scurve.Draw(c), "", legend, "")
}

// finishNote is the finish: null in JSON when it is reached or can't be told.
func (p *progress) finishNote() output.Note {
	n := output.Note{Key: "finish"}
	switch f := p.finish; {
	case f != nil:
		n.Value = output.Object{
			{Key: "earliest", Value: dayText(f.Earliest)}, {Key: "expected", Value: dayText(f.Expected)}, {Key: "latest", Value: dayText(f.Latest)},
			{Key: "confidence", Value: p.confidence}, {Key: "joints_per_working_day", Value: f.Rate},
			{Key: "working_days", Value: f.WorkingDays}, {Key: "first_day", Value: f.First.Format(time.DateOnly)},
			{Key: "days_of_the_week", Value: weekdays(f.Week)}, {Key: "dispersion", Value: f.Dispersion}, {Key: "method", Value: forecast.Method},
		}
		n.Text = []string{
			fmt.Sprintf("expected finish: %s, with %s confidence from %s to %s", or(dayText(f.Expected), "not within ten years"),
				percentText(p.confidence), or(dayText(f.Earliest), "later"), or(dayText(f.Latest), "later than ten years on")),
			fmt.Sprintf("rate: %s joints a working day over %s since %s (%s)", rounded(f.Rate, 2), counted(f.WorkingDays, "working day"),
				f.First.Format(time.DateOnly), strings.Join(weekdays(f.Week), " ")),
			"method: " + forecast.Method,
		}
	case p.got.GetJoints() > 0 && p.left() <= 0:
		n.Text = []string{"every joint is finished, the last on " + p.days[len(p.days)-1].day.Format(time.DateOnly)}
	}
	return n
}

// dayText is a day, nil for none.
func dayText(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.Format(time.DateOnly)
}

// or gives a text in place of one that is not given.
func or(value any, instead string) string {
	if s, ok := value.(string); ok {
		return s
	}
	return instead
}

// weekdays are the days of the week that are worked, from Monday.
func weekdays(w forecast.Week) []string {
	var names []string
	for i := range 7 {
		if d := time.Weekday((i + 1) % 7); w[d] {
			names = append(names, d.String()[:3])
		}
	}
	return names
}
