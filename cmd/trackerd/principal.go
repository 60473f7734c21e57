package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/access"
	"jointledger/internal/identity"
	"jointledger/internal/store"
)

const principalText = `A principal is who calls: a person, a device or a program. It has roles, each at a
site, in a region or everywhere; it shows a bearer token, a client certificate or a
token of an OpenID Connect issuer ("trackerd token"). Nothing of this is ever
deleted: what was given is withdrawn, and the audit record ("trackerd audit") keeps
who did it. On running servers a change counts within five seconds.`

func principalCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "principal", Short: "Say who may call, and what they may do",
		Long: "Says who may call, and what they may do.\n\n" + principalText + "\n\n" + exitCodesText, Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(principalAddCommand(), principalListCommand(), principalRolesCommand(),
		grantCommand("grant NAME", "Give a principal roles", "Roles that it has there already stay as they are.", (*store.Store).GrantRoles),
		grantCommand("withdraw NAME", "Withdraw roles from a principal", "Name role and place as they were given; `trackerd principal list` shows them.", (*store.Store).WithdrawRoles),
		standingCommand("disable NAME", "Shut a principal out, whatever it shows", true),
		standingCommand("enable NAME", "Let a principal in again that was disabled", false))
	return c
}

func principalAddCommand() *cobra.Command {
	var g grantFlags
	var description string
	r := &registerCommand{use: "add NAME", short: "Register a principal, with roles if you like", arguments: 1}
	r.long = "For example:\n\n  trackerd principal add nd1 --role technician --site HAR\n  trackerd principal add north-manager --role regional-manager --region north\n  trackerd principal add reports --role integration --everywhere\n\n" + principalText
	r.run = func(ctx context.Context, s *store.Store, args []string, stdout, stderr io.Writer) error {
		p := store.Principal{Name: args[0], Description: description}
		if len(g.roles)+len(g.sites)+len(g.regions) > 0 || g.everywhere {
			var err error
			if p.Grants, err = g.grants(); err != nil {
				return err
			}
		}
		if err := s.AddPrincipal(ctx, p, operator()); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "registered %s\n", p.Name)
		return emptyRegions(ctx, s, g.regions, stderr)
	}
	c := r.command()
	g.on(c)
	c.Flags().StringVar(&description, "description", "", "`text` that says who or what it is")
	return c
}

func grantCommand(use, short, long string, change func(*store.Store, context.Context, string, []store.Grant, string) error) *cobra.Command {
	var g grantFlags
	r := &registerCommand{use: use, short: short, long: long + "\n\n" + principalText, arguments: 1}
	r.run = func(ctx context.Context, s *store.Store, args []string, stdout, stderr io.Writer) error {
		grants, err := g.grants()
		if err != nil {
			return err
		}
		if err := change(s, ctx, args[0], grants, operator()); err != nil {
			return err
		}
		done := map[bool]string{true: "gave", false: "withdrew"}[strings.HasPrefix(use, "grant")]
		for _, one := range grants {
			fmt.Fprintf(stdout, "%s: %s %s\n", args[0], done, grantText(one))
		}
		return emptyRegions(ctx, s, g.regions, stderr)
	}
	c := r.command()
	g.on(c)
	return c
}

func standingCommand(use, short string, disabled bool) *cobra.Command {
	r := &registerCommand{use: use, short: short, long: principalText, arguments: 1}
	r.run = func(ctx context.Context, s *store.Store, args []string, stdout, _ io.Writer) error {
		if err := s.SetPrincipalDisabled(ctx, args[0], disabled, operator()); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "%s is %s; running servers know within %s\n", args[0], map[bool]string{true: "disabled", false: "enabled"}[disabled], identity.Longest)
		return nil
	}
	return r.command()
}

// emptyRegions says of regions that no site is in, as of one that was mistyped.
func emptyRegions(ctx context.Context, s *store.Store, regions []string, stderr io.Writer) error {
	if len(regions) == 0 {
		return nil
	}
	a, err := s.Access(ctx, "")
	if err != nil {
		return err
	}
	for _, r := range regions {
		if len(a.SitesOf[r]) == 0 {
			fmt.Fprintf(stderr, "note: no site is in region %q now\n", r)
		}
	}
	return nil
}

func principalListCommand() *cobra.Command {
	r := &registerCommand{use: "list", short: "List principals with their roles"}
	r.run = func(ctx context.Context, s *store.Store, _ []string, stdout, _ io.Writer) error {
		a, err := s.Access(ctx, "")
		if err != nil {
			return err
		}
		w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "name\tstate\troles\tcredentials\tmade\tdescription")
		for _, p := range a.Principals {
			state, live := "enabled", 0
			if p.Disabled {
				state = "disabled"
			}
			var roles []string
			for _, g := range p.Grants {
				if g.Stands() {
					roles = append(roles, grantText(g))
				}
			}
			if len(roles) == 0 {
				roles = []string{"none"}
			}
			for _, c := range p.Credentials {
				if stateOf(c, time.Now()) == "in force" {
					live++
				}
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%s by %s\t%s\n", p.Name, state, strings.Join(roles, ", "), live, p.CreateTime.Format(time.DateOnly), p.MadeBy, p.Description)
		}
		w.Flush() //nolint:errcheck // as for every line printed
		if len(a.Principals) == 0 {
			fmt.Fprintln(stdout, "no principal is registered")
		}
		return nil
	}
	return r.command()
}

func grantText(g store.Grant) string {
	role := access.Role(g.Role).String()
	switch {
	case g.Site != "":
		return role + " at " + g.Site
	case g.Region != "":
		return role + " in " + g.Region
	}
	return role + " everywhere"
}
