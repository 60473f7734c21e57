package main

import (
	"errors"
	"log/slog"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"jointledger/internal/store"
)

// database says which one is meant.
type database struct {
	settings
	dataDir, dsn string
}

// flags adds those that say where the record is. A connection string with a password
// is better given in the environment: a command line can be read by everybody on the
// machine.
func (d *database) flags(c *cobra.Command) {
	d.configFlag(c)
	c.Flags().StringVar(&d.dataDir, "data", "", "`folder` of the embedded database (default $XDG_DATA_HOME/jointledger or ~/.local/share/jointledger; environment: "+variableOf("data")+")")
	c.Flags().StringVar(&d.dsn, "dsn", "", "PostgreSQL `connection string`, such as postgres://user@host/database, instead of the embedded database (environment: "+variableOf("dsn")+")")
}

// config makes the store's configuration, from the command line, the environment and
// the settings file. Where both a folder and a connection string are given, the one
// that was said with more weight counts.
func (d *database) config(log *slog.Logger) (store.Config, error) {
	if err := d.complete(); err != nil {
		return store.Config{}, err
	}
	c := store.Config{DataDir: d.dataDir, DSN: d.dsn, Logger: log}
	if c.DataDir != "" && c.DSN != "" {
		switch folder, dsn := d.given("data"), d.given("dsn"); {
		case folder > dsn:
			c.DSN = ""
		case folder < dsn:
			c.DataDir = ""
		default:
			return c, configError{errors.New("--data and --dsn exclude each other: the record is in the embedded database or in PostgreSQL")}
		}
	}
	if c.DataDir != "" || c.DSN != "" {
		return c, nil
	}
	var err error
	c.DataDir, err = defaultDataDir()
	return c, err
}

// defaultDataDir follows the XDG base directory specification, by which a path
// that is not absolute is to be ignored.
func defaultDataDir() (string, error) {
	if base := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "jointledger"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", configError{errors.New("there is no home folder to keep the record in; say where with --data")}
	}
	return filepath.Join(home, ".local", "share", "jointledger"), nil
}
