package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

const atHelp = `PLACE and what the flags name are kept on this device until they are changed or
forgotten. Entries take from them what is not given: within RVB/CT2/C3,
  trackctl tighten J014 12
is a whole entry, and its answer says what was filled in. What is given goes first.
Questions such as remaining, history and findings take the place.

A place may be the end of a name: C4 for the next cell of the same tower, C3/J014 for
a joint. /PEN is the site PEN. An empty text forgets one thing (--batch ""), --clear
all of them.

A kept torque belongs to the tool it was kept with, and a batch to its treatment: both
are forgotten when the other changes. Without PLACE and flags, at shows what is kept
and since when. What is older than 14 hours is another shift's, and said so.`

// atOptions are the flags of `at`, each as it was typed.
type atOptions struct {
	clear bool
	typed map[string]string
}

func (a *app) atCommand() *cobra.Command {
	o := atOptions{typed: map[string]string{}}
	cmd := a.command("at [PLACE]", "Keep the place, tool and lot of the shift, so that entries are short", atHelp)
	cmd.Example = "  trackctl at rvb/ct2/c3 --tool TW-RVB-03 --torque \"32 N.m\" --lot M10-ST-2640C --treatment anti-seize --person ab\n  trackctl at c4\n  trackctl at"
	f := newFields(cmd)
	o.flags(f)
	cmd.Flags().BoolVar(&o.clear, "clear", false, "forget all that is kept")
	return a.runs(cmd, func(_ context.Context, args []string) error { return a.at(f, o, args) })
}

// flags makes a flag of each thing that is kept, which is read as the entries will
// read it. Who reports is a flag of every command.
func (o atOptions) flags(f *fields) {
	var record pb.Tightening
	entry := newFields(&cobra.Command{})
	tighteningFields(entry, &record)
	for _, name := range handKeys {
		flag := entry.cmd.Flags().Lookup(name)
		if flag == nil {
			continue
		}
		f.bind(name, "", flag.Value.Type(), flag.Usage, func(text string) error {
			if o.typed[name] = text; text == "" {
				return nil
			}
			return flag.Value.Set(text)
		})
	}
	mustComplete(f.cmd, "treatment", ledger.Treatments.All())
	mustComplete(f.cmd, "method", ledger.DrivingMethods.All())
}

func (a *app) at(f *fields, o atOptions, args []string) error {
	if f.cmd.Flags().Changed("person") {
		o.typed["person"] = a.settings.person
	}
	if !o.clear && len(o.typed) == 0 && len(args) == 0 {
		return a.tellInHand(nil)
	}
	kept := inHand{}
	if !o.clear {
		before, err := a.inHand()
		if err != nil {
			return err
		}
		for key, value := range before {
			kept[key] = value
		}
	}
	if len(args) > 0 {
		place, err := a.placeNext(args[0], 1, 2, 3)
		if err != nil {
			return err
		}
		o.typed["place"] = place.String()
	}
	lines := kept.take(o.typed, a.now())
	lines = append(lines, a.unknownInHand(kept, o.typed)...)
	if err := a.keepInHand(kept); err != nil {
		return err
	}
	return a.tellInHand(lines)
}

// take keeps what was typed and forgets what belonged to what it took the place of;
// the lines say what.
func (h inHand) take(typed map[string]string, now time.Time) (lines []string) {
	for _, pair := range [][2]string{{"tool", "torque"}, {"treatment", "batch"}} {
		to, belongs := pair[0], pair[1]
		text, given := typed[to]
		if !given || text == h[to].Value {
			continue
		}
		if old, ok := h[belongs]; ok {
			if _, given := typed[belongs]; !given {
				lines = append(lines, fmt.Sprintf("%s %s is forgotten: it was kept with %s", belongs, old.Value, orWord(h[to].Value, "no "+to)))
			}
			delete(h, belongs)
		}
	}
	for key, text := range typed {
		if text == "" {
			delete(h, key)
			continue
		}
		h[key] = keptValue{text, now.Truncate(time.Second)}
	}
	return lines
}

func orWord(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func inHandColumns(now time.Time) []output.Column[filled] {
	return []output.Column[filled]{
		{Name: "what", Heading: "WHAT", Value: func(f filled) any { return f.name }},
		{Name: "value", Heading: "KEPT", Value: func(f filled) any { return f.Value }},
		{Name: "since", Heading: "SINCE", Value: func(f filled) any { return f.Since }},
		{Name: "hours", Value: func(f filled) any { return max(0, now.Sub(f.Since).Round(time.Minute).Hours()) }},
		{Heading: "AGE", Text: func(f filled) string { return ageWords(now.Sub(f.Since)) }},
		{Name: "another_shift", Value: func(f filled) any { return f.anotherShift(now) }},
	}
}

// tellInHand shows what is kept for the shift; the lines say what else is to be known.
func (a *app) tellInHand(lines []string) error {
	h, err := a.inHand()
	if err != nil {
		return err
	}
	if len(h) == 0 {
		lines = append(lines, "nothing is kept for the shift; trackctl at PLACE --tool SERIAL --lot LOT keeps it")
	}
	if len(h) == 0 && a.format == output.Table {
		_, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(strings.Join(lines, "\n"))))
		return err
	}
	w, err := output.New(a.config(), "in_hand", inHandColumns(a.now()))
	if err != nil {
		return err
	}
	var old []string
	for _, key := range handKeys {
		kept, ok := h[key]
		if !ok {
			continue
		}
		if kept.anotherShift(a.now()) {
			old = append(old, key)
		}
		if err := w.Row(filled{key, kept}); err != nil {
			return err
		}
	}
	if len(old) > 0 {
		lines = append(lines, fmt.Sprintf("look: %s kept more than %d hours ago, by another shift", wasOrWere(old), shiftHours))
	}
	return w.Close(output.Note{Key: "cautions", Value: slices.Clip(lines), Text: lines})
}
