// Package ledger has one mistake for each linter that .golangci.yml names, at least.
// Nothing builds it; `make linters` requires that each linter finds its own. It lies
// where a pure room would, so that depguard finds what it may not import.
package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.opentelemetry.io/otel/trace"
)

type colour int

const (
	red colour = iota
	green
)

var missing = errors.New("missing")

func Exhaustive(c colour) int {
	switch c {
	case red:
		return 1
	}
	return 0
}

func Errcheck() { os.Remove("nothing") }

func Govet() { fmt.Printf("%d\n", "text") }

func Staticcheck(d time.Duration) bool { return d > 0 && d > 0 }

func unusedFunction() {}

func Ineffassign() int {
	n := 1
	n = 2
	return n
}

func always(n, unneeded int) int {
	if n > 2 {
		n *= 2
	}
	return n
}

func Unparam() int { return always(1, 2) + always(3, 4) }

func Durationcheck(d time.Duration) time.Duration { return d * time.Second }

func Errchkjson() []byte {
	text, _ := json.Marshal(map[string]any{"f": func() {}})
	return text
}

func Fatcontext(ctx context.Context) context.Context {
	for range 3 {
		ctx = context.WithValue(ctx, red, 1)
	}
	return ctx
}

//go:nolinkname misspelt
func Compilerdirective() {}

func Reassign() { io.EOF = nil }

func Spancheck(ctx context.Context, t trace.Tracer) {
	_, span := t.Start(ctx, "never ended")
	span.AddEvent("begun")
}

func Errorlint(err error) bool { return err == missing }

func Nilerr(text string) error {
	_, err := strconv.Atoi(text)
	if err != nil {
		return nil
	}
	return nil
}

func Nilnesserr(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil {
		return err
	}
	if other := check(n); other != nil {
		return err
	}
	return nil
}

func check(n int) error { return fmt.Errorf("%d", n) }

func Bodyclose(ctx context.Context) (int, error) {
	r, err := http.NewRequestWithContext(ctx, "GET", "http://localhost/", nil) // usestdlibvars
	if err != nil {
		return 0, err
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, err
	}
	return answer.StatusCode, nil
}

func Rows(ctx context.Context, db *sql.DB) (int, error) { // rowserrcheck, sqlclosecheck
	rows, err := db.QueryContext(ctx, "SELECT 1")
	if err != nil {
		return 0, err
	}
	n := 0
	for rows.Next() {
		n++
	}
	return n, nil
}

func Copyloopvar(all []int) (sum int) {
	for _, n := range all {
		n := n
		sum += n
	}
	return sum
}

// TODO: write it.
func Godox() {}

// Misspell has its color from elsewhere.
func Misspell() {}

func Nakedret(n int) (sum int) {
	for i := range n {
		sum += i
	}
	for i := range n {
		sum *= i
	}
	for i := range n {
		sum += i
	}
	for i := range n {
		sum *= i
	}
	for i := range n {
		sum += i
	}
	for i := range n {
		sum *= i
	}
	for i := range n {
		sum += i
	}
	for i := range n {
		sum *= i
	}
	for i := range n {
		sum += i
	}
	for i := range n {
		sum *= i
	}
	return
}

func Nolintlint() { os.Remove("nothing") } //nolint

var promlinter = prometheus.NewCounter(prometheus.CounterOpts{Name: "records", Help: "Records."})

func Sloglint(log *slog.Logger) { log.Info("mixed", "key", 1, slog.Int("other", 2)) }

func Unconvert(n int) int { return int(n) }

const (
	plain = "plain"
	first = iota
	second
)

func Hostport(host string, port int) string { return fmt.Sprintf("http://%s:%d/", host, port) }

func Funlen(n int) int {
	n += 0
	n += 1
	n += 2
	n += 3
	n += 4
	n += 5
	n += 6
	n += 7
	n += 8
	n += 9
	n += 10
	n += 11
	n += 12
	n += 13
	n += 14
	n += 15
	n += 16
	n += 17
	n += 18
	n += 19
	n += 20
	n += 21
	n += 22
	n += 23
	n += 24
	n += 25
	n += 26
	n += 27
	n += 28
	n += 29
	n += 30
	n += 31
	n += 32
	n += 33
	n += 34
	n += 35
	n += 36
	n += 37
	n += 38
	n += 39
	n += 40
	n += 41
	n += 42
	n += 43
	n += 44
	n += 45
	n += 46
	n += 47
	n += 48
	n += 49
	n += 50
	n += 51
	n += 52
	n += 53
	n += 54
	n += 55
	n += 56
	n += 57
	n += 58
	n += 59
	n += 60
	n += 61
	return n
}
