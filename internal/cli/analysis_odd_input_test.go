package cli

import (
	"fmt"
	"strings"
	"testing"
)

// Each of the bad inputs, in the files of every analysis, is refused by file, line and
// column with what was expected. Nothing is answered from the rest of the file.
func TestAnalysesRefuseCells(t *testing.T) {
	counts, history, exposed := "site,treatment,failures,attempts", "label,x,n", "label,x,exposure"
	stock, sealings := "fastener,site,failures,attempts,remaining,stock", "failed,surface_c,air_c,humidity_pct"
	commands := map[string][]string{
		counts:   {"compare treatment x y --strata site", "standing site", "model --factor treatment"},
		history:  {"trend", "alarm --in-control 1/100"},
		exposed:  {"trend", "alarm --in-control 0.5"},
		stock:    {"spares"},
		sealings: {"leaks"},
	}
	for _, tc := range []struct {
		head, row string
		want      string // what stands after FILE:2
	}{
		{counts, "A,x,11,10", "attempts"},
		{counts, "A,x,1.5,10", "column failures"}, {counts, "A,x,-1,10", "column failures"}, {counts, "A,x,NaN,10", "column failures"},
		{counts, "A,x,1,Inf", "column attempts"}, {counts, "A,x,,10", "column failures"}, {counts, "A,x,1,1099511627777", "column attempts"},
		{counts, `A,x,1,"1,000"`, "column attempts"}, {counts, "A,x,1", "expected 4 fields, got 3"},
		{history, "a,51,50", "column n: expected at least as many as failed, 51, got 50"}, {history, "a,1.5,50", "column x: expected a whole number"},
		{history, "a,1,-50", "column n: expected a whole number from 0"}, {history, "a,NaN,50", "column x: expected a whole number"},
		{exposed, "a,1,0", "column exposure: expected above 0, since 1 failed"}, {exposed, "a,1,NaN", "column exposure: expected a number such as"},
		{exposed, "a,1,Inf", "column exposure: expected a number such as"}, {exposed, "a,1,-1", "column exposure: expected a number from 0"},
		{stock, "M10,A,11,10,5,5", "column attempts: expected at least as many as failed, 11, got 10"}, {stock, "M10,A,1,10,5.5,5", "column remaining: expected a whole number"},
		{stock, "M10,A,1.5,10,5,5", "column failures: expected a whole number"}, {stock, "M10,A,1,10,-5,5", "column remaining: expected a whole number from 0"},
		{sealings, "2,10,,", "column failed: expected a whole number from 0 to 1"}, {sealings, "0.5,10,,", "column failed: expected a whole number"},
		{sealings, "0,NaN,,", "column surface_c: expected a number such as"}, {sealings, "0,9999,,", "column surface_c: expected -60 to 120, got 9999"},
		{sealings, "0,-400,,", "column surface_c: expected -60 to 120, got -400"}, {sealings, "0,10,10,130", "column humidity_pct: expected 0 to 100, got 130"},
		{sealings, ",10,,", "column failed: expected a whole number from 0 to 1, got nothing"},
	} {
		file := countFile(t, tc.head, tc.row)
		for _, command := range commands[tc.head] {
			code, out, errOut := run(t, "", nil, append(strings.Fields(command), "--from", file)...)
			if code != exitData || out != "" || !strings.Contains(errOut, file+":2") || !strings.Contains(errOut, tc.want) {
				t.Errorf("%s of %q: exit %d, out %q, err %q; want %q", command, tc.row, code, out, errOut, tc.want)
			}
		}
	}
	for head, row := range map[string]string{counts: "A,x,1,10,red", history: "a,1,50,red", stock: "M10,A,1,10,5,5,red", sealings: "0,10,,,red"} {
		file := countFile(t, head+",colour", row)
		for _, command := range commands[head] {
			code, out, errOut := run(t, "", nil, append(strings.Fields(command), "--from", file)...)
			if strings.HasPrefix(command, "model") { // which names its columns itself
				continue
			}
			if code != exitData || out != "" || !strings.Contains(errOut, fmt.Sprintf("%s:1:%d: \"colour\" is none of the columns that this analysis reads", file, len(head)+2)) {
				t.Errorf("%s: exit %d, out %q, err %q", command, code, out, errOut)
			}
		}
	}
	file := countFile(t, counts, "A,x,1,10", "A,y,2,10")
	if code, out, errOut := run(t, "", nil, "model", "--factor", "colour", "--from", file); code != exitUnknown || out != "" || !strings.Contains(errOut, `has no column "colour"; it has site, treatment, failures, attempts`) {
		t.Errorf("exit %d, out %q, err %q", code, out, errOut)
	}
}

// What is odd but true has an answer that says so in a caution, or a sentence that says
// why there is none; and no number that is none.
func TestAnalysesAnswerOddHistories(t *testing.T) {
	history := []string{"label,x,n"}
	stock := []string{"fastener,site,failures,attempts,remaining,stock"}
	sealings := []string{"failed,surface_c,site,joint"}
	counts := []string{"lot,treatment,failures,attempts"}
	for i := range 500 {
		history = append(history, fmt.Sprintf("L%d,%d,40", i, i%3))
		stock = append(stock, fmt.Sprintf("F%d,A,%d,40,20,15", i, i%3))
		sealings = append(sealings, fmt.Sprintf("%d,%d,S%d,J%d", (i%7)/6, i%40, i, i))
		counts = append(counts, fmt.Sprintf("L%d,x,%d,400", i, i%3), fmt.Sprintf("L%d,y,%d,400", i, i%5))
	}
	const trend, alarm, sprt, spares, leaks, model = "trend", "alarm --in-control 1/100", "alarm --in-control 1/100 --out-of-control 10/100 --test sprt", "spares", "leaks", "model --factor treatment --factor lot"
	for _, tc := range []struct {
		name, commands string
		rows           []string
		want           string // a caution or, where there is no answer, the error
	}{
		{"no failures", trend, []string{"label,x,n", "a,0,50", "b,0,40"}, "No failures are on record"},
		{"all failures", trend, []string{"label,x,n", "a,50,50", "b,40,40"}, "Nothing but failures is on record"},
		{"one row", trend, []string{"label,x,n", "a,1,50"}, "One row is its own centre"},
		{"an empty row", trend + "|" + alarm, []string{"label,x,n", "a,1,50", "b,0,0", "c,3,40"}, "No attempts on record for b"},
		{"empty rows only", trend, []string{"label,x,n", "a,0,0", "b,0,0"}, "attempts is 0 in every row, but must be above 0 in one at least"},
		{"500 rows", trend + "|" + alarm, history, "Fasteners of one joint|in-control rate is taken as known"},
		{"all failures", alarm, []string{"label,x,n", "a,50,50", "b,40,40"}, "in-control rate is taken as known"},
		{"no losses", spares, []string{stock[0], "M10,A,0,100,50,10"}, "Fewer than 3 groups"},
		{"losses only", spares, []string{stock[0], "M10,A,100,100,50,10"}, "Fewer than 3 groups"},
		{"no attempts", spares, []string{stock[0], "M10,A,0,0,50,10"}, "No attempts are on record"},
		{"less than nothing", spares, []string{stock[0], "M10,A,1,10,5,-5"}, "the stock on record is negative"},
		{"500 fasteners", spares, stock, "Losses come in bursts"},
		{"no leak", leaks, []string{"failed,surface_c", "0,10", "0,20"}, "No seal failed"},
		{"leaks only", leaks, []string{"failed,surface_c", "1,10", "1,20"}, "There is no model"},
		{"one sealing", leaks, []string{"failed,surface_c", "1,10"}, "There is no model"},
		{"separation", leaks, []string{"failed,surface_c", "1,1", "1,2", "0,21", "0,22"}, "The data separate on surface_c"},
		{"nothing recorded", leaks, []string{"failed", "1", "0", "0"}, "neither weather nor cleaning is on record"},
		{"500 sites", leaks, sealings, "The day of sealing is not on record"},
		{"no failures", model, []string{counts[0], "A,x,0,10", "B,y,0,20"}, "failures is 0 in every row, but at least one is needed"},
		{"all failures", model, []string{counts[0], "A,x,10,10", "B,y,20,20"}, "at least one must have gone well"},
		{"separation", model, []string{counts[0], "A,x,0,10", "A,y,20,20", "B,x,0,9", "B,y,9,9"}, "The data separate on treatment"},
		{"a zero cell", model, []string{counts[0], "A,x,0,10", "A,y,7,20", "B,x,0,9", "B,y,1,9"}, "The data separate on treatment x"},
		{"an empty group", model, []string{counts[0], "A,x,1,10", "A,y,3,20", "B,x,0,0", "B,y,2,30", "C,x,0,0"}, "2 rows have no attempts or exposure and are left out. With them go lot C"},
		{"one arm in each", model, []string{counts[0], "A,x,1,10", "B,y,7,20"}, "Left out because other terms make them up: lot A"},
		{"one group", model, []string{counts[0], "A,x,1,10"}, "in every row that counts, but a factor needs at least two levels"},
		{"nothing failed", "compare treatment x y", []string{counts[0], "A,x,0,10", "A,y,0,20"}, "neither a relative risk nor an odds ratio"},
		{"nothing held", "compare treatment x y", []string{counts[0], "A,x,10,10", "A,y,20,20"}, "there is no odds ratio; if fasteners that went well were not recorded"},
	} {
		file := countFile(t, tc.rows...)
		for _, command := range strings.Split(tc.commands, "|") {
			for _, format := range []string{"table", "json", "csv"} {
				code, out, errOut := run(t, "", nil, append(strings.Fields(command), "--from", file, "-o", format)...)
				said := strings.Join(strings.Fields(out+errOut), " ")
				if code != 0 && (code != exitData || out != "") || strings.Contains(out, "NaN") || strings.Contains(out, "Inf") {
					t.Errorf("%s: %s as %s: exit %d\n%s%s", tc.name, command, format, code, out, errOut)
				}
				found := format == "csv" && code == 0 // rows alone
				for _, want := range strings.Split(tc.want, "|") {
					found = found || strings.Contains(said, want)
				}
				if !found {
					t.Errorf("%s: %s as %s says nothing of %q:\n%s", tc.name, command, format, tc.want, said)
				}
			}
		}
	}
	// So many levels are modelled, or refused with the number that is too many.
	code, out, errOut := run(t, "", nil, "model", "--factor", "treatment", "--factor", "lot", "--from", countFile(t, counts...))
	if strings.Contains(out, "NaN") || strings.Contains(out, "Inf") || code == 0 && !strings.Contains(out, "caution: ") || code != 0 && !strings.Contains(errOut, "at most") {
		t.Errorf("exit %d\n%.2000s%s", code, out, errOut)
	}
}
