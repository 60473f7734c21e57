package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/user"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// operator says who runs this program, for the audit record: the name of the account,
// and of the machine.
func operator() string {
	name := "user " + strconv.Itoa(os.Getuid())
	if u, err := user.Current(); err == nil {
		name = u.Username
	}
	host, err := os.Hostname()
	if err != nil {
		host = "this machine"
	}
	return name + " (trackerd on " + host + ")"
}

// registerCommand is a command about who may do what: it works on the database itself,
// also beside a running server.
type registerCommand struct {
	database
	use, short, long string
	arguments        int
	run              func(ctx context.Context, s *store.Store, args []string, stdout, stderr io.Writer) error
}

func (r *registerCommand) command() *cobra.Command {
	c := &cobra.Command{
		Use: r.use, Short: r.short, Long: strings.TrimSpace(r.short+".\n\n"+r.long) + "\n\n" + exitCodesText,
		Args: func(c *cobra.Command, args []string) error {
			if err := cobra.ExactArgs(r.arguments)(c, args); err != nil {
				return usageError{fmt.Errorf("%w; see `trackerd %s --help`", err, strings.TrimPrefix(c.CommandPath(), "trackerd "))}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			config, err := r.config(slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil)))
			if err != nil {
				return err
			}
			return plainly(r.on(c.Context(), config, args, c.OutOrStdout(), c.ErrOrStderr()))
		},
	}
	r.flags(c)
	return c
}

func (r *registerCommand) on(ctx context.Context, config store.Config, args []string, stdout, stderr io.Writer) error {
	// Opening would make or migrate the embedded database, also where it was not meant.
	current, latest, _, err := store.MigrationStatus(ctx, config)
	switch {
	case err != nil:
		return err
	case current == 0:
		return notUsable("there is no record here; say where it is with --data or --dsn, or make one with `trackerd migrate up`")
	case current < latest:
		return notUsable(fmt.Sprintf("the database has schema version %d and this program needs %d; run `trackerd migrate up` first", current, latest))
	}
	s, err := store.Open(ctx, config)
	if err != nil {
		return err
	}
	return errors.Join(r.run(ctx, s, args, stdout, stderr), s.Close())
}

// plainly turns what the store says of names on the command line into a fault of the
// command line.
func plainly(err error) error {
	var known *ledger.Error
	if errors.As(err, &known) {
		switch known.Kind {
		case ledger.KindInvalid, ledger.KindNotFound, ledger.KindExists:
			return usageError{known}
		default: // nothing to do for the others
		}
	}
	return err
}

// grantFlags say which roles, and where.
type grantFlags struct {
	roles, sites, regions []string
	everywhere            bool
}

func (g *grantFlags) on(c *cobra.Command) {
	c.Flags().StringSliceVar(&g.roles, "role", nil, "`role`: "+roleWords())
	c.Flags().StringSliceVar(&g.sites, "site", nil, "`code` of a site that the roles are for")
	c.Flags().StringSliceVar(&g.regions, "region", nil, "`region` that the roles are for: its sites as they are at the time of each call")
	c.Flags().BoolVar(&g.everywhere, "everywhere", false, "the roles are for every site, and those to come")
}

func roleWords() string {
	var words []string
	for _, r := range access.Roles() {
		words = append(words, r.String())
	}
	return strings.Join(words, ", ")
}

// grants gives each role at each place that was named.
func (g *grantFlags) grants() ([]store.Grant, error) {
	var places []store.Grant
	if g.everywhere {
		places = append(places, store.Grant{})
	}
	for _, s := range g.sites {
		// Codes are of capitals, and are taken in any letters, as trackctl takes them.
		places = append(places, store.Grant{Site: strings.ToUpper(s)})
	}
	for _, r := range g.regions {
		places = append(places, store.Grant{Region: r})
	}
	var all []store.Grant
	for _, word := range g.roles {
		role, ok := access.ParseRole(word)
		if !ok {
			return nil, usageError{fmt.Errorf("--role %q is none; expected one of %s", word, roleWords())}
		}
		for _, at := range places {
			if at == (store.Grant{}) && !g.everywhere {
				return nil, usageError{errors.New("--site and --region need a name")}
			}
			at.Role, at.RoleWord = uint8(role), word
			all = append(all, at)
		}
	}
	if len(all) == 0 {
		return nil, usageError{errors.New("say which role, with --role, and where: --site, --region or --everywhere")}
	}
	return all, nil
}

// moment reads a time from or until now: `90d`, `12h`, a day, or a time with its zone.
func moment(flag, text string, now time.Time, sign int) (time.Time, error) {
	if days, ok := strings.CutSuffix(text, "d"); ok {
		if n, err := strconv.Atoi(days); err == nil && n > 0 && n <= 36500 {
			return now.AddDate(0, 0, sign*n), nil
		}
	}
	if d, err := time.ParseDuration(text); err == nil && d > 0 {
		return now.Add(time.Duration(sign) * d), nil
	}
	for _, layout := range []string{time.RFC3339, time.DateOnly} {
		if t, err := time.Parse(layout, text); err == nil {
			return t, nil
		}
	}
	return time.Time{}, usageError{fmt.Errorf("--%s %q is no time; expected one such as 90d, 12h or 2027-01-31", flag, text)}
}
