package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/identity"
	"jointledger/internal/store"
)

const tokenText = `A principal is believed for what it shows: a bearer token that was issued here
(header "authorization: Bearer TOKEN", RFC 6750), a client certificate of TLS, or a
token of the OpenID Connect issuer that the server was told of. A bearer token is
shown once; what is kept of it is the SHA-256 of its secret. Each has an id, by which
it is revoked; on running servers that counts within five seconds.`

func tokenCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "token", Short: "Issue and revoke what principals show to be believed",
		Long: "Issues and revokes what principals show to be believed.\n\n" + tokenText + "\n\n" + exitCodesText, Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(tokenIssueCommand(), tokenAcceptCommand(), tokenListCommand(), tokenRevokeCommand())
	return c
}

// never is the word for what does not expire.
const never = "never"

// expiry reads when a credential is to expire; zero for never.
func expiry(text string, now time.Time) (time.Time, error) {
	if text == never {
		return time.Time{}, nil
	}
	t, err := moment("expires", text, now, +1)
	if err == nil && !t.After(now) {
		err = usageError{fmt.Errorf("--expires %q is past", text)}
	}
	return t, err
}

func tokenIssueCommand() *cobra.Command {
	var expires, out string
	r := &registerCommand{use: "issue PRINCIPAL", short: "Issue a bearer token, and print it this once", long: tokenText, arguments: 1}
	r.run = func(ctx context.Context, s *store.Store, args []string, stdout, stderr io.Writer) error {
		token, c := identity.NewToken(args[0])
		var err error
		if c.ExpireTime, err = expiry(expires, time.Now()); err != nil {
			return err
		}
		if out != "" {
			if err := writeSecret(out, token); err != nil {
				return systemError{fmt.Errorf("the token can't be written: %w", err)}
			}
		}
		if err := s.AddCredential(ctx, c, operator()); err != nil {
			if out != "" {
				err = errors.Join(err, os.Remove(out))
			}
			return err
		}
		if out == "" {
			if _, err := fmt.Fprintln(stdout, token); err != nil {
				return systemError{fmt.Errorf("the token could not be printed; revoke credential %s: %w", c.ID, err)}
			}
		}
		fmt.Fprintf(stderr, "credential %s of %s, expires %s; its token is not shown again\n", c.ID, c.Principal, day(c.ExpireTime, never))
		return nil
	}
	c := r.command()
	c.Flags().StringVar(&expires, "expires", "90d", "`when` it expires: 90d, 12h, a day such as 2027-01-31 (at its beginning, UTC), or never")
	c.Flags().StringVar(&out, "out", "", "new `file` for the token, which only its owner reads, instead of printing it")
	return c
}

func tokenAcceptCommand() *cobra.Command {
	var expires, certificate, issuer, subject string
	r := &registerCommand{use: "accept PRINCIPAL", short: "Take a client certificate, or a subject of an issuer, for a principal", arguments: 1}
	r.long = `For example:

  trackerd token accept tablet-3 --certificate dns:tablet-3.harrow.example
  trackerd token accept nd1 --oidc-issuer https://login.example --subject 248289761001

A certificate is named by dns:NAME, uri:URI or cn:NAME, as an authority that the
server trusts (--tls-client-ca) has written it, or by sha256:DIGEST, which stands for
this one certificate. A subject is the claim of --oidc-claim of the server.

` + tokenText
	r.run = func(ctx context.Context, s *store.Store, args []string, stdout, _ io.Writer) error {
		c := store.Credential{ID: identity.NewID(), Principal: args[0]}
		var err error
		switch {
		case certificate != "" && subject == "":
			c.Kind = store.ClientCertificate
			if c.Subject, err = identity.CertificateSubject(certificate); err != nil {
				return usageError{err}
			}
		case certificate == "" && issuer != "" && subject != "":
			c.Kind, c.Subject = store.IssuedSubject, identity.Subject(issuer, subject)
		default:
			return usageError{errors.New("say either --certificate, or --oidc-issuer with --subject")}
		}
		if c.ExpireTime, err = expiry(expires, time.Now()); err != nil {
			return err
		}
		if err := s.AddCredential(ctx, c, operator()); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "credential %s of %s: %s %s, expires %s\n", c.ID, c.Principal, c.Kind, c.Subject, day(c.ExpireTime, never))
		return nil
	}
	c := r.command()
	c.Flags().StringVar(&certificate, "certificate", "", "`name` of the certificate: dns:NAME, uri:URI, cn:NAME or sha256:DIGEST")
	c.Flags().StringVar(&issuer, "oidc-issuer", "", "`URL` of the issuer, as the server has it; a setting of the server, so that its file or environment will do")
	c.Flags().StringVar(&subject, "subject", "", "`subject` at the issuer")
	c.Flags().StringVar(&expires, "expires", never, "`when` it expires here, whatever the certificate or the token says: 90d, a day, or never")
	return c
}

func tokenListCommand() *cobra.Command {
	var principal string
	r := &registerCommand{use: "list", short: "List credentials; never their secrets"}
	r.run = func(ctx context.Context, s *store.Store, _ []string, stdout, _ io.Writer) error {
		a, err := s.Access(ctx, "")
		if err != nil {
			return err
		}
		w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "id\tprincipal\tkind\tstate\texpires\tmade\tsubject")
		for _, p := range a.Principals {
			if principal != "" && p.Name != principal {
				continue
			}
			for _, c := range p.Credentials {
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s by %s\t%s\n", c.ID, p.Name, c.Kind, stateOf(c, time.Now()), day(c.ExpireTime, never), day(c.CreateTime, ""), c.MadeBy, c.Subject)
			}
		}
		w.Flush() //nolint:errcheck // as for every line printed
		return nil
	}
	c := r.command()
	c.Flags().StringVar(&principal, "principal", "", "only those of this `name`")
	return c
}

func tokenRevokeCommand() *cobra.Command {
	r := &registerCommand{use: "revoke ID", short: "Revoke a credential, for good", long: tokenText, arguments: 1}
	r.run = func(ctx context.Context, s *store.Store, args []string, stdout, _ io.Writer) error {
		if err := s.RevokeCredential(ctx, args[0], operator()); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "revoked credential %s; running servers know within %s\n", args[0], identity.Longest)
		return nil
	}
	return r.command()
}

func stateOf(c store.Credential, now time.Time) string {
	switch {
	case !c.RevokeTime.IsZero():
		return "revoked " + day(c.RevokeTime, "")
	case !c.ExpireTime.IsZero() && !now.Before(c.ExpireTime):
		return "expired"
	}
	return "in force"
}

func day(t time.Time, none string) string {
	if t.IsZero() {
		return none
	}
	return t.UTC().Format(time.DateOnly)
}
