package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/store"
)

func auditCommand() *cobra.Command {
	var since, principal string
	var refused, asJSON bool
	var limit int
	r := &registerCommand{use: "audit", short: "Show the audit record: administrative acts and refusals"}
	r.long = `It has every act of "trackerd principal" and "trackerd token", every call that was
denied to a known principal (of a batch, each site at which something was denied), and
calls of nobody known; of the last, those alike from one address within a minute share
a line, with their number. The database refuses to change or delete a line of it. It
is in no site's chain.`
	r.run = func(ctx context.Context, s *store.Store, _ []string, stdout, _ io.Writer) error {
		f := store.AuditFilter{Principal: principal, Refused: refused, Limit: limit}
		var err error
		if since != "" {
			if f.Since, err = moment("since", since, time.Now(), -1); err != nil {
				return err
			}
		}
		if limit < 0 {
			return usageError{fmt.Errorf("--limit %d is below 0", limit)}
		}
		entries, err := s.AuditEntries(ctx, f)
		if err != nil {
			return err
		}
		if asJSON {
			return auditLines(entries, stdout)
		}
		w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "time\toutcome\ttimes\tprincipal\tact\tobject\tpeer\tdetail")
		for _, e := range entries {
			who := e.Principal
			if who == "" {
				who = "-"
			}
			fmt.Fprintf(w, "%s\t%s\t%d\t%s\t%s\t%s\t%s\t%s\n", e.Time.Format(time.RFC3339), e.Outcome, e.Times, who, e.Act, e.Object, e.Peer, e.Detail)
		}
		w.Flush() //nolint:errcheck // as for every line printed
		return nil
	}
	c := r.command()
	c.Flags().StringVar(&since, "since", "", "only from this `time` on: 24h, 7d, or a day such as 2026-11-25")
	c.Flags().StringVar(&principal, "principal", "", "only acts of this `name`, or about it")
	c.Flags().BoolVar(&refused, "refused", false, "only refusals")
	c.Flags().IntVar(&limit, "limit", 200, "at most this `number`, the newest; 0 for all")
	c.Flags().BoolVar(&asJSON, "json", false, "an object a line")
	return c
}

// auditLine is an entry of the audit record as JSON.
type auditLine struct {
	Time       time.Time `json:"time"`
	LastTime   time.Time `json:"last_time"`
	Times      int64     `json:"times"`
	Outcome    string    `json:"outcome"`
	Principal  string    `json:"principal,omitempty"`
	Credential string    `json:"credential,omitempty"`
	Act        string    `json:"act"`
	Object     string    `json:"object,omitempty"`
	Peer       string    `json:"peer,omitempty"`
	Detail     string    `json:"detail,omitempty"`
	RequestID  string    `json:"request_id,omitempty"`
}

func auditLines(entries []store.AuditEntry, w io.Writer) error {
	lines := json.NewEncoder(w)
	for _, e := range entries {
		err := lines.Encode(auditLine{e.Time, e.Last, e.Times, e.Outcome.String(), e.Principal, e.Credential, e.Act, e.Object, e.Peer, e.Detail, e.RequestID})
		if err != nil {
			return systemError{err}
		}
	}
	return nil
}
