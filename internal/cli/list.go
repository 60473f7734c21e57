package cli

import (
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/cli/output"
)

// pageSize is how many things one call of a list asks for.
const pageSize = 1000

// limitFlag makes the flag of every list that bounds it.
func limitFlag(cmd *cobra.Command, limit *int) {
	cmd.Flags().IntVar(limit, "limit", 0, "show at most `N`; all when 0")
}

// fetch reads one page of a list.
type fetch[T any] func(size int32, token string) (items []T, next string, err error)

// list writes a list, page after page to its end or to the limit.
func list[T any](a *app, limit int, key string, columns []output.Column[T], read fetch[T], notes ...output.Note) error {
	if limit < 0 {
		return usage("--limit: expected a number of at least 0, got %d", limit)
	}
	w, err := output.New(a.config(), key, columns)
	if err != nil {
		return err
	}
	err = pages(limit, read, w.Row)
	if err != nil {
		return err
	}
	return w.Close(notes...)
}

// pages reads a list to its end or to the limit.
func pages[T any](limit int, read fetch[T], each func(T) error) error {
	token, done := "", 0
	for {
		size := pageSize
		if limit > 0 {
			size = min(size, limit-done)
		}
		items, next, err := read(int32(size), token)
		if err != nil {
			return err
		}
		for _, item := range items {
			if err := each(item); err != nil {
				return err
			}
			done++
			if limit > 0 && done == limit {
				return nil
			}
		}
		if next == "" {
			return nil
		}
		if next == token {
			return &failure{code: exitInternal, message: "the server gave the same page token twice; the list is not complete"}
		}
		token = next
	}
}

// kept tells that a thing was registered or changed: a sentence for a person, the
// thing itself for a program.
func kept[T any](a *app, key string, columns []output.Column[T], thing T, format string, args ...any) error {
	if a.format == output.Table {
		_, err := fmt.Fprintf(a.out, format+"\n", args...)
		return err
	}
	return output.Show(a.config(), key, columns, thing)
}

// stamped are the columns that every thing ends with.
func stamped[T interface {
	GetCreateTime() *timestamppb.Timestamp
	GetUpdateTime() *timestamppb.Timestamp
	GetEtag() string
}]() []output.Column[T] {
	return []output.Column[T]{
		{Name: "registered_at", Value: func(t T) any { return when(t.GetCreateTime()) }},
		{Name: "changed_at", Value: func(t T) any { return when(t.GetUpdateTime()) }},
		{Name: "etag", Value: func(t T) any { return text(t.GetEtag()) }},
	}
}

// The values of columns: what was not given is nil.

func when(t *timestamppb.Timestamp) any {
	if t == nil {
		return nil
	}
	return t.AsTime()
}

func text(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// figure is a number whose zero means "not given".
func figure(v float64) any {
	if v == 0 {
		return nil
	}
	return v
}

func whole(v int32) any {
	if v == 0 {
		return nil
	}
	return v
}
