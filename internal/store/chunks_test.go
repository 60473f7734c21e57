package store

import (
	"slices"
	"strings"
	"testing"
)

// sqliteParameters is SQLite's limit on parameters of one statement, the smaller
// of the two engines' (https://www.sqlite.org/limits.html, SQLITE_MAX_VARIABLE_NUMBER).
const sqliteParameters = 32_766

func TestChunksStayBelowTheParameterLimit(t *testing.T) {
	t.Parallel()
	for _, width := range []int{1, 7, 15, 29_999, 30_000} {
		for _, n := range []int{0, 1, 30_000/width - 1, 30_000 / width, 30_000/width + 1, 70_000 / width} {
			items := make([]int, n)
			for i := range items {
				items[i] = i
			}
			var got []int
			err := inChunks(items, width, func(part []int) error {
				if len(part) == 0 || len(part)*width > sqliteParameters {
					t.Errorf("a chunk of %d at %d parameters each", len(part), width)
				}
				got = append(got, part...)
				return nil
			})
			if err != nil || !slices.Equal(got, items) {
				t.Errorf("%d items of width %d: %d came through, %v", n, width, len(got), err)
			}
		}
	}
	for table, width := range map[string]int{"records": len(recordsTable.columns), "tallies": len(talliesTable.columns)} {
		if n := insertSizes[0] * width; n > sqliteParameters {
			t.Errorf("a statement that inserts into %s has %d parameters", table, n)
		}
	}
}

func TestMarks(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		n, width int
		want     string
	}{{1, 1, "(?)"}, {1, 3, "(?,?,?)"}, {3, 1, "(?),(?),(?)"}, {2, 2, "(?,?),(?,?)"}} {
		if got := marks(c.n, c.width); got != c.want {
			t.Errorf("marks(%d, %d) = %q; expected %q", c.n, c.width, got, c.want)
		}
	}
	if got := (postgresEngine{}).bind("a = ? AND b IN (?,?) -- " + strings.Repeat("?", 9)); got != "a = $1 AND b IN ($2,$3) -- $4$5$6$7$8$9$10$11$12" {
		t.Errorf("bound as %q", got)
	}
}
