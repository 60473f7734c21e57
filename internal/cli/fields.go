package cli

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
)

// fields binds flags to the fields of a message of the API, so that `add` can
// require them, `set` can name those that were given, and a refusal can be told
// by the flag.
type fields struct {
	cmd *cobra.Command
	// paths gives the field of each flag.
	paths map[string]string
	order []string
}

func newFields(cmd *cobra.Command) *fields { return &fields{cmd: cmd, paths: map[string]string{}} }

// flagValue is a flag whose text is read by a function.
type flagValue struct {
	text string
	kind string
	set  func(string) error
}

func (v *flagValue) String() string { return v.text }
func (v *flagValue) Type() string   { return v.kind }

// Set reads the text; cobra names the flag in front of the error.
func (v *flagValue) Set(text string) error {
	if err := v.set(text); err != nil {
		return err
	}
	v.text = text
	return nil
}

// bind makes a flag for the field at path; an empty path is for what is no field.
func (f *fields) bind(name, path, kind, help string, set func(string) error) {
	f.cmd.Flags().Var(&flagValue{kind: kind, set: set}, name, help)
	f.order = append(f.order, name)
	if path != "" {
		f.paths[name] = path
	}
}

// boolean makes a flag that needs no value.
func (f *fields) boolean(dst *bool, name, path, help string) {
	f.cmd.Flags().BoolVar(dst, name, *dst, help)
	f.order = append(f.order, name)
	f.paths[name] = path
}

func (f *fields) text(dst *string, name, path, help string) {
	f.bind(name, path, "TEXT", help, func(text string) error {
		*dst = text
		return nil
	})
}

// resource makes a flag that names a thing of a collection.
func (f *fields) resource(dst *string, collection, name, path, kind, help string) {
	f.bind(name, path, kind, help, func(text string) error {
		r, err := resourceArg(text, collection)
		if err == nil {
			*dst = r
		}
		return err
	})
}

// site makes a flag that names a site.
func (f *fields) site(dst *string, name, path, help string) {
	f.bind(name, path, "SITE", help, func(text string) error {
		r, err := siteOf(text)
		if err == nil {
			*dst = r
		}
		return err
	})
}

func (f *fields) number(dst *float64, name, path, help string) {
	f.bind(name, path, "NUMBER", help, func(text string) error {
		v, problem := csvfile.ParseNumber(text)
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		*dst = v
		return nil
	})
}

// optionalNumber makes a flag for a number that may be left open.
func (f *fields) optionalNumber(dst **float64, name, path, help string) {
	f.bind(name, path, "NUMBER", help, func(text string) error {
		v, problem := csvfile.ParseNumber(text)
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		*dst = &v
		return nil
	})
}

// whole makes a flag for a whole number. Whether it is in range is the server's
// to say.
func (f *fields) whole(dst *int32, name, path, help string) {
	f.bind(name, path, "N", help, func(text string) error {
		v, err := parseWhole(text)
		if err == nil {
			*dst = int32(v)
		}
		return err
	})
}

func parseWhole(text string) (int64, error) {
	v, err := strconv.ParseInt(text, 10, 32)
	if err != nil {
		return 0, usage("expected a whole number, got %s", csvfile.Quote(text))
	}
	return v, nil
}

// parseCount reads an argument that counts things. A number that is out of range is
// a fault of the data, as it is where the server finds it; other text is one of the
// command line.
func parseCount(what, text string, least, most int64) (int64, error) {
	v, err := strconv.ParseInt(text, 10, 64)
	if err == nil && v >= least && v <= most {
		return v, nil
	}
	f := &failure{code: exitData}
	if !wholeNumber().MatchString(text) {
		f.code, text = exitUsage, csvfile.Quote(text)
	}
	f.message = fmt.Sprintf("%s: expected a whole number from %d to %d, got %s", what, least, most, text)
	return 0, f
}

var wholeNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[+-]?\d+$`) })

// wordField makes a flag for a word of a closed list and completes it.
func wordField[T ~uint8, E ~int32](f *fields, dst *E, words ledger.Words[T], name, path, help string) {
	f.bind(name, path, "WORD", help+": "+strings.Join(words.All(), ", "), func(text string) error {
		v, err := words.Parse(text)
		if err == nil {
			*dst = E(v)
		}
		return err
	})
	mustComplete(f.cmd, name, words.All())
}

// moment makes a flag for a time with its zone.
func (f *fields) moment(dst *time.Time, name, path, help string) {
	f.bind(name, path, "TIME", help+", such as "+csvfile.TimeExample, func(text string) error {
		t, err := csvfile.ParseTime(text)
		if err == nil {
			*dst = t
		}
		return err
	})
}

// asOf binds a flag for the moment that is looked from. A bare day stands for its
// end on this machine's clock: what falls due on it is then due.
func (f *fields) asOf(dst *time.Time) {
	f.bind("as-of", "as_of_time", "TIME", "the moment to look from, such as "+csvfile.TimeExample+", or a day, for its end; now when not given", func(text string) error {
		if day, err := time.ParseInLocation(time.DateOnly, text, time.Local); err == nil {
			*dst = day.AddDate(0, 0, 1).Add(-time.Second)
			return nil
		}
		t, err := csvfile.ParseTime(text)
		if err == nil {
			*dst = t
		}
		return err
	})
}

// require checks that the flags were given.
func (f *fields) require(names ...string) error {
	var missing []string
	for _, n := range names {
		if !f.cmd.Flags().Changed(n) {
			missing = append(missing, "--"+n)
		}
	}
	if len(missing) > 0 {
		return usage("%s needs %s", f.cmd.CommandPath(), strings.Join(missing, ", "))
	}
	return nil
}

// mask names the fields whose flags were given; an error when none was.
func (f *fields) mask() ([]string, error) {
	var paths []string
	for _, n := range f.order {
		if p, ok := f.paths[n]; ok && f.cmd.Flags().Changed(n) {
			paths = append(paths, p)
		}
	}
	if len(paths) == 0 {
		return nil, usage("%s changes what its flags say, and there are none; see %[1]s --help", f.cmd.CommandPath())
	}
	return paths, nil
}

// names gives the flag of each field, as a person types it.
func (f *fields) names() map[string]string {
	names := map[string]string{}
	for flag, path := range f.paths {
		names[path] = "--" + flag
	}
	return names
}
