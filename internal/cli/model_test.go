package cli

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// modelJSON is what model answers.
type modelJSON struct {
	Coefficients []struct {
		Term, Level, Reference string
		Estimate, Ratio        float64
		StandardError          float64 `json:"standard_error"`
		ProfileLower           float64 `json:"profile_lower"`
		ProfileUpper           float64 `json:"profile_upper"`
		PValue                 float64 `json:"p_value"`
		WaldZ                  float64 `json:"wald_z"`
		WaldP                  float64 `json:"wald_p_value"`
	}
	Fit struct {
		Deviance     float64
		NullDeviance float64 `json:"null_deviance"`
		Freedom      int     `json:"degrees_of_freedom"`
		AIC          float64
		Likelihood   float64 `json:"log_likelihood"`
		Note         string
	}
	Tests []struct {
		Term      string
		Statistic float64
		PValue    float64 `json:"p_value"`
	}
	Rates []struct {
		Value   float64
		Per1000 float64 `json:"per_1000"`
		Lower   float64 `json:"lower_per_1000"`
		Upper   float64 `json:"upper_per_1000"`
	}
	Penalised     bool
	PenaltyReason string `json:"penalty_reason"`
	Headline      string
	Cautions      []string
}

func fitFile(t *testing.T, args ...string) modelJSON {
	t.Helper()
	code, out, errOut := run(t, "", nil, append([]string{"model", "--output", "json"}, args...)...)
	if code != 0 {
		t.Fatalf("%v: exit %d\n%s", args, code, errOut)
	}
	var got modelJSON
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return got
}

func within(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %v, expected %v", what, got, want)
	}
}

// oRings are the data of S. R. Dalal, E. B. Fowlkes, B. Hoadley, JASA 84 (1989)
// 945-957: temperature in °F, rings damaged of six.
const oRings = `temperature,damaged,rings
53,5,6
57,1,6
58,1,6
63,1,6
66,0,6
67,0,6
67,0,6
67,0,6
68,0,6
69,0,6
70,1,6
70,0,6
70,1,6
70,0,6
72,0,6
73,0,6
75,0,6
75,1,6
76,0,6
76,0,6
78,0,6
79,0,6
81,0,6
`

func fileOf(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// The fit as printed in J. J. Faraway, Extending the Linear Model with R (2006),
// section 2.1, and by R 4.2.2 to twelve digits: P16 of the reference.
func TestModelOfORings(t *testing.T) {
	grouped := fitFile(t, "--from", fileOf(t, "rings.csv", oRings), "--response", "damaged", "--attempts", "rings", "--covariate", "temperature:at=31;60")
	one := grouped.Coefficients[0]
	within(t, "slope", one.Estimate, -0.216233664114, 1e-6)
	within(t, "its standard error", one.StandardError, 0.0531770305782, 1e-6)
	within(t, "odds ratio", one.Ratio, math.Exp(-0.216233664114), 1e-6)
	within(t, "Wald's z", one.WaldZ, -4.06629820737, 1e-6)
	within(t, "Wald's p", one.WaldP, 4.77658076094e-05, 1e-6)
	within(t, "p by likelihood ratio", one.PValue, 2.74735127035e-06, 1e-6)
	last := grouped.Coefficients[len(grouped.Coefficients)-1]
	if last.Term != interceptName || last.Ratio != 0 || last.PValue != 0 {
		t.Errorf("the last coefficient is %+v", last)
	}
	within(t, "intercept", last.Estimate, 11.6629896953, 1e-6)
	within(t, "its standard error", last.StandardError, 3.29626314848, 1e-6)
	within(t, "its z", last.WaldZ, 11.6629896953/3.29626314848, 1e-6)
	within(t, "its p", last.WaldP, math.Erfc(last.WaldZ/math.Sqrt2), 1e-6) // two tails of the normal distribution
	within(t, "log-likelihood", grouped.Fit.Likelihood, -14.8373937522, 1e-6)
	within(t, "AIC", grouped.Fit.AIC, 33.6747875044, 1e-6)
	if grouped.Fit.Note != "" {
		t.Errorf("not penalised, but %q", grouped.Fit.Note)
	}
	within(t, "deviance", grouped.Fit.Deviance, 16.9122785289, 1e-6)
	within(t, "null deviance", grouped.Fit.NullDeviance, 38.8976595966, 1e-6)
	within(t, "likelihood ratio", grouped.Tests[0].Statistic, 21.9853810677, 1e-6)
	within(t, "its p", grouped.Tests[0].PValue, 2.74735127035e-06, 1e-6)
	for i, want := range [][3]float64{{993.034154788, 844.471028258, 999.732898267}, {212.314513548, 115.560399711, 357.346588704}} {
		r := grouped.Rates[i]
		within(t, "rate", r.Per1000, want[0], 1e-6)
		within(t, "lower", r.Lower, want[1], 1e-6)
		within(t, "upper", r.Upper, want[2], 1e-6)
	}
	if grouped.Fit.Freedom != 21 {
		t.Errorf("%d degrees of freedom", grouped.Fit.Freedom)
	}
	// 31 °F lies beyond what is on record.
	if !strings.Contains(strings.Join(grouped.Cautions, " "), "Predicted beyond what is on record: temperature 31") {
		t.Errorf("%q", grouped.Cautions)
	}
	// Any damage at all: one row is one trial.
	var binary strings.Builder
	for i, row := range strings.Split(strings.TrimSpace(oRings), "\n") {
		cells := strings.Split(row, ",")
		switch {
		case i == 0:
			binary.WriteString("temperature,outcome\n")
		case cells[1] == "0":
			binary.WriteString(cells[0] + ",0\n")
		default:
			binary.WriteString(cells[0] + ",1\n")
		}
	}
	each := fitFile(t, "--from", fileOf(t, "flights.csv", binary.String()), "--covariate", "temperature")
	within(t, "intercept", each.Coefficients[1].Estimate, 15.0429016477, 1e-6)
	within(t, "slope", each.Coefficients[0].Estimate, -0.232162744219, 1e-6)
	within(t, "its standard error", each.Coefficients[0].StandardError, 0.108236521649, 1e-6)
	within(t, "deviance", each.Fit.Deviance, 20.3151926879, 1e-6)
}

var published = filepath.Join("..", "regression", "testdata")

// E. Milicer, F. Szczotka, Human Biology 38 (1966) 199-203, fitted in W. N. Venables,
// B. D. Ripley, Modern Applied Statistics with S (4th ed. 2002): P17.
func TestModelOfMenarche(t *testing.T) {
	m := fitFile(t, "--from", filepath.Join(published, "menarche.csv"), "--response", "Menarche", "--attempts", "Total", "--covariate", "Age:at=13.0066216837")
	within(t, "slope", m.Coefficients[0].Estimate, 1.63196834823, 1e-6)
	within(t, "its standard error", m.Coefficients[0].StandardError, 0.0589531746185, 1e-6)
	within(t, "null deviance", m.Fit.NullDeviance, 3693.88357479, 1e-6)
	within(t, "deviance", m.Fit.Deviance, 26.7034516358, 1e-6)
	within(t, "rate at the median age", m.Rates[0].Per1000, 500, 1e-6)
}

// G. Heinze, M. Schemper, Statistics in Medicine 21 (2002) 2409-2419: NV separates;
// 2.929 (1.551), profile interval 0.61 to 7.85: P18.
func TestModelUnderSeparationFromAFile(t *testing.T) {
	args := []string{"--from", filepath.Join(published, "endometrial.csv"), "--response", "HG", "--covariate", "NV", "--covariate", "PI", "--covariate", "EH"}
	m := fitFile(t, args...)
	if !m.Penalised || !strings.Contains(m.PenaltyReason, "The data separate on NV") {
		t.Errorf("penalised %t: %s", m.Penalised, m.PenaltyReason)
	}
	if !strings.Contains(m.Fit.Note, "at the penalised estimates") {
		t.Errorf("note of the fit %q", m.Fit.Note)
	}
	for i, want := range []struct{ estimate, se float64 }{{2.9292733532, 1.55076372945}, {-0.0347517598704, 0.0395781473478}, {-2.60416392529, 0.776017642502}} {
		within(t, "estimate", m.Coefficients[i].Estimate, want.estimate, 1e-6)
		within(t, "standard error", m.Coefficients[i].StandardError, want.se, 1e-6)
	}
	within(t, "lower", math.Log(m.Coefficients[0].ProfileLower), 0.609724436303, 1e-6)
	within(t, "upper", math.Log(m.Coefficients[0].ProfileUpper), 7.85463171388, 1e-6)
	within(t, "p", m.Coefficients[0].PValue, 0.00912366754709, 1e-6)
	code, _, errOut := run(t, "", nil, append([]string{"model", "--penalty", "never"}, args...)...)
	if code != exitData || !strings.Contains(errOut, "the data separate") {
		t.Errorf("never: exit %d\n%s", code, errOut)
	}
}

// P. McCullagh, J. A. Nelder, Generalized Linear Models (1989), section 6.3.2: period
// 0.38, deviance 38.7 on 25: P19.
func TestPoissonModelOfShips(t *testing.T) {
	m := fitFile(t, "--from", filepath.Join(published, "ships.csv"), "--family", "poisson", "--response", "incidents", "--exposure", "service",
		"--factor", "type:reference=A", "--factor", "year:reference=60", "--factor", "period:reference=60")
	last := m.Coefficients[len(m.Coefficients)-2] // before the intercept
	if last.Term != "period" || math.Abs(last.Estimate-0.38) > 0.005 || math.Abs(m.Fit.Deviance-38.7) > 0.05 || m.Fit.Freedom != 25 {
		t.Errorf("%+v, deviance %v on %d", last, m.Fit.Deviance, m.Fit.Freedom)
	}
}

func TestModelRefusals(t *testing.T) {
	rings := fileOf(t, "rings.csv", oRings)
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--from", rings}, exitUsage, "needs --factor or --covariate"},
		{[]string{"--from", rings, "--response", "damaged", "--covariate", "temprature"}, exitUnknown, `--covariate: ` + rings + ` has no column "temprature"; did you mean temperature?`},
		{[]string{"--from", rings, "--covariate", "temperature"}, exitUnknown, `--response: ` + rings + ` has no column "failures"`},
		{[]string{"--from", rings, "--response", "damaged", "--covariate", "temperature", "--site", "RVB"}, exitUsage, "--site chooses among the records of the server"},
		{[]string{"--from", rings, "--response", "damaged", "--covariate", "temperature"}, exitData, "damaged"}, // five of one trial
		{[]string{"--covariate", "temperature"}, exitUsage, "is not a covariate"},
		{[]string{"--factor", "treatmnt"}, exitUsage, "did you mean treatment?"},
		{[]string{"--factor", "person"}, exitUsage, "--by-name"},
		{[]string{"--factor", "lot", "--cluster", "cell"}, exitUsage, "--cluster: expected joint"},
		{[]string{"--factor", "lot", "--attempts", "n"}, exitUsage, "--attempts names a column of a file"},
		{[]string{"--factor", "lot", "--response", "gaelling"}, exitUsage, "did you mean galling?"},
		{[]string{"--factor", "lot:per=3"}, exitUsage, "expected reference="},
		{[]string{"--covariate", "day:per=0"}, exitUsage, "above 0"},
		{[]string{"--factor", "lot", "--factor", "lot"}, exitUsage, "each term once"},
		{[]string{"--from", rings, "--family", "poisson", "--attempts", "rings", "--response", "damaged", "--covariate", "temperature"}, exitUsage, "--attempts belongs to a logistic model"},
		{[]string{"--from", "absent.csv", "--factor", "lot"}, exitNoInput, "absent.csv can't be read"},
		{[]string{"--from", fileOf(t, "half.csv", "lot,failures,attempts\nA,1.5,20\nB,2,30\n"), "--factor", "lot"}, exitData, "half.csv:2: column failures: failures must be a whole number from 0 to 1099511627776, got \"1.5\""},
		{[]string{"--from", fileOf(t, "huge.csv", "x,failures,attempts\n1,1,20\n\n1e300,2,30\n"), "--covariate", "x"}, exitData, `huge.csv:4: column x: x must be a number from -1e100 to 1e100, got "1e300"`},
		{[]string{"--from", fileOf(t, "beyond.csv", "lot,failures,attempts\nA,21,20\nB,2,30\n"), "--factor", "lot"}, exitData, "must be at most the row's attempts"},
		{[]string{"--from", fileOf(t, "twice.csv", "lot,lot,failures\nA,A,1\n"), "--factor", "lot"}, exitData, "expected each column once"},
		{[]string{"--from", fileOf(t, "empty.csv", ""), "--factor", "lot"}, exitData, "expected a header line"},
	} {
		code, out, errOut := run(t, "", nil, append([]string{"model"}, c.args...)...)
		if code != c.code || !strings.Contains(errOut, c.says) || out != "" {
			t.Errorf("%v: exit %d, %q; expected %d, %q", c.args, code, errOut, c.code, c.says)
		}
	}
}
