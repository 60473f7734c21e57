package sampling

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
)

func readTable(t *testing.T, name string, rows int) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != rows+1 {
		t.Fatalf("%s has %d rows, want %d", name, len(all)-1, rows)
	}
	return all
}

// MIL-STD-105E, 10 May 1989, Table I (public domain, seen in two copies): every
// cell, at both ends of every range of lot sizes.
func TestCodeLettersEqualTableI(t *testing.T) {
	table := readTable(t, "mil_std_105e_code_letters.csv", len(codeLetters))
	header := table[0][1:]
	if len(header) != len(levels) {
		t.Fatalf("levels %v", header)
	}
	for i, row := range table[1:] {
		ends := strings.Split(row[0], "-")
		low, err := strconv.Atoi(ends[0])
		if err != nil {
			t.Fatal(err)
		}
		high := low + 1_000_000
		if ends[1] != "" {
			if high, err = strconv.Atoi(ends[1]); err != nil {
				t.Fatal(err)
			}
		} else if i != len(codeLetters)-1 {
			t.Errorf("range %s is open but not the last", row[0])
		}
		for j, name := range header {
			for _, lot := range []int{low, high} {
				got, err := CodeLetter(lot, Level(name))
				if err != nil || got != row[j+1] {
					t.Errorf("lot %d, level %s: %q, %v; want %q", lot, name, got, err, row[j+1])
				}
			}
		}
	}
}

// MIL-STD-105E, 10 May 1989, Table II-A (public domain, seen in two copies):
// every cell as printed, and every plan that it leads to.
func TestMasterTableEqualsTableIIA(t *testing.T) {
	table := readTable(t, "mil_std_105e_single_normal.csv", len(masterTable)*len(aqlColumns))
	arrows := map[string]int8{"down": dn, "up": up}
	for i, row := range table[1:] {
		letter, size, aql, cell, used := row[0], number(t, row[1]), row[2], row[3], row[4]
		column := i % len(aqlColumns)
		plan := masterTable[i/len(aqlColumns)]
		name := letter + " at AQL " + aql
		if plan.letter != letter || plan.size != size || aqlColumns[column].text != aql {
			t.Errorf("%s: the table has %s, n %d, AQL %s there", name, plan.letter, plan.size, aqlColumns[column].text)
		}
		if want, isArrow := arrows[cell]; isArrow {
			if plan.cells[column] != want {
				t.Errorf("%s: cell %d, want an arrow %s", name, plan.cells[column], cell)
			}
		} else if cell != "plan" || int(plan.cells[column]) != number(t, row[6]) {
			t.Errorf("%s: cell %d, want Ac %s", name, plan.cells[column], row[6])
		}

		parsed, err := ParseAQL(aql)
		if err != nil || parsed.String() != aql {
			t.Errorf("AQL %s reads as %s, %v", aql, parsed, err)
		}
		got, usedLetter, err := PlanForLetter(letter, parsed)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if usedLetter != used || got.SampleSize != number(t, row[5]) || got.Accept != number(t, row[6]) || got.Reject() != number(t, row[7]) {
			t.Errorf("%s: %s %+v, want %v", name, usedLetter, got, row[4:])
		}
	}
}

func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// The table is also a pattern (derived from its diagonals): with letter i and
// AQL j counted from 0, Ac is 0 where i + j = 14, an up-arrow stands at 15, a
// down-arrow at 16, then Ac 1, 2, 3, 5, 7, 10, 14, 21 at 17 to 24.
func TestMasterTableDiagonals(t *testing.T) {
	accept := []int8{1, 2, 3, 5, 7, 10, 14, 21}
	for i, plan := range masterTable {
		for j, cell := range plan.cells {
			want, d := cell, i+j
			switch {
			case d < 14:
				want = dn
			case d == 14:
				want = 0
			case d == 15 && plan.letter == "A":
				want = dn // nothing stands above A
			case d == 15:
				want = up
			case d == 16 && plan.letter == "R":
				want = up // nothing stands below R
			case d == 16:
				want = dn
			case d <= 24:
				want = accept[d-17]
			}
			if cell != want {
				t.Errorf("%s at AQL %s: %d, the pattern has %d", plan.letter, aqlColumns[j].text, cell, want)
			}
		}
	}
}
