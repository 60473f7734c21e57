package main

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"

	"github.com/spf13/cobra"
)

func exportCommand() *cobra.Command {
	var d database
	var to string
	c := &cobra.Command{
		Use:   "export SITE",
		Short: "Write the chain of a site to a file that proves itself; a server may go on serving",
		Long:  "Writes the chain of a site to a file that proves itself; a server may go on serving.\n\n" + exportText + "\n\n" + exitCodesText,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{errors.New("name one site, such as RVB")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if to == "" {
				return usageError{errors.New("say with --to which file to write")}
			}
			config, err := d.config(slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil)))
			if err != nil {
				return err
			}
			s, err := openAsItIs(c.Context(), config)
			if err != nil {
				return err
			}
			defer s.Close() // nothing was written
			// Codes are of capitals, and are taken in any letters.
			e, err := s.ExportSite(c.Context(), strings.ToUpper(args[0]), to)
			if err != nil {
				return asked(err)
			}
			fmt.Fprintf(c.OutOrStdout(), "exported site %s to %s: %d records, %d attachments named, %d entries of registers\nlast link %s\n",
				e.Site, to, e.Records, e.Attachments, e.Registers, e.Head)
			return nil
		},
	}
	d.flags(c)
	c.Flags().StringVar(&to, "to", "", "`file` to write; it must not exist yet")
	return c
}

const exportText = `The file has every record of the site with the bytes that its link is made of, what
the rules found on it, the digests of its attachments, and what the registers say of the
places, people, lots, tools and specifications that records name. "trackctl prove FILE"
checks it link by link, anywhere, with neither a server nor a database. An existing file
is never overwritten, and a file of that name is whole.`
