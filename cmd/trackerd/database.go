package main

import (
	"errors"
	"log/slog"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"jointledger/internal/store"
)

// dsnVariable names the environment variable of the connection string. It is
// the better place for one with a password: a command line can be read by
// everybody on the machine.
const dsnVariable = "JOINTLEDGER_DSN"

// database says which one is meant.
type database struct{ dataDir, dsn string }

func (d *database) flags(c *cobra.Command) {
	c.Flags().StringVar(&d.dataDir, "data", "", "`folder` of the embedded database (default $XDG_DATA_HOME/jointledger or ~/.local/share/jointledger)")
	c.Flags().StringVar(&d.dsn, "dsn", "", "PostgreSQL `connection string`, such as postgres://user@host/database, instead of the embedded database (environment: "+dsnVariable+")")
}

// config makes the store's configuration. What the command line says goes before
// the environment.
func (d *database) config(log *slog.Logger) (store.Config, error) {
	c := store.Config{DataDir: d.dataDir, DSN: d.dsn, Logger: log}
	if c.DataDir != "" && c.DSN != "" {
		return c, configError{errors.New("--data and --dsn exclude each other: the record is in the embedded database or in PostgreSQL")}
	}
	if c.DataDir == "" && c.DSN == "" {
		c.DSN = os.Getenv(dsnVariable)
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
