package pgcluster

import (
	"bytes"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
)

// folders are those of a cluster that lie apart from its own; empty where none does.
type folders struct{ data, log string }

// elsewhere makes the folders that the options ask for, and gives what initdb is to be
// told of them.
func (c *Cluster) elsewhere() (args []string, err error) {
	for _, f := range []struct {
		in   string
		made *string
	}{{c.opts.Data, &c.apart.data}, {c.opts.WriteAheadLog, &c.apart.log}} {
		if f.in == "" {
			continue
		}
		if *f.made, err = os.MkdirTemp(f.in, folderPrefix); err != nil {
			return nil, err
		}
		if c.cred != nil {
			if err = os.Chown(*f.made, int(c.cred.Uid), int(c.cred.Gid)); err != nil {
				return nil, err
			}
		}
	}
	if c.apart.log != "" {
		args = append(args, "--waldir="+filepath.Join(c.apart.log, "wal"))
	}
	if c.opts.Segment > 0 {
		args = append(args, "--wal-segsize="+strconv.Itoa(c.opts.Segment))
	}
	return args, nil
}

func (f folders) remove() {
	for _, folder := range []string{f.data, f.log} {
		if folder != "" {
			_ = os.RemoveAll(folder) // it lies on what is thrown away too
		}
	}
}

// LocalDSN gives the connection string of a database of the cluster by its socket in the
// file system, which a program in another network namespace reaches too.
func (c *Cluster) LocalDSN(database string) string {
	return fmt.Sprintf("postgres:///%s?host=%s&port=%d&user=jl&sslmode=disable", database, url.QueryEscape(c.dir), c.Port)
}

// Ended says whether the server has ended, by itself or by Halt, so that Resume may start
// it.
func (c *Cluster) Ended() bool { return len(c.done) > 0 }

// Panics is how often the server that runs, or ran last, has found that it can't go on and
// ended all of its processes, as when there is no room for its write-ahead log
// (PostgreSQL documentation, "Error Reporting and Logging", severity PANIC).
func (c *Cluster) Panics() int {
	text, _ := os.ReadFile(filepath.Join(c.dir, "log")) // none before it was started
	return bytes.Count(text, []byte("PANIC: "))
}
