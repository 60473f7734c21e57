package main

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"log"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"jointledger/internal/regression"
)

// covariates with the intercept make twenty columns.
const covariates = 19

// rounds are how often each side fits; the median counts.
const rounds = 5

// mark is the share of R's time that ours must stay within, and agreement how far
// coefficients may lie apart; both are the project's own.
const (
	mark      = 0.5
	agreement = 1e-8
)

func main() {
	log.SetFlags(0)
	rows := flag.Int("rows", 100_000, "rows of one trial each, from 1000 to 2000000")
	seed := flag.Uint64("seed", 1, "seed of the invented rows")
	flag.Parse()
	if *rows < 1000 || *rows > 2_000_000 {
		log.Fatalf("-rows: expected from 1000 to 2000000, got %d", *rows)
	}
	if err := sideBySide(*rows, *seed); err != nil {
		log.Fatal(err)
	}
}

func sideBySide(rows int, seed uint64) error {
	data := invented(rows, seed)
	taken, ours, err := fitted(data)
	if err != nil {
		return err
	}
	fmt.Printf("ours: %.3f s, the median of %d fits of %d rows by %d columns\n", taken.Seconds(), rounds, rows, covariates+1)
	folder, err := os.MkdirTemp("", "jointledger-glm-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	file := filepath.Join(folder, "rows.csv")
	if err := write(data, file); err != nil {
		return err
	}
	theirs, err := askR(file)
	if errors.Is(err, errNoR) {
		fmt.Println(err)
		return nil
	}
	if err != nil {
		return err
	}
	ratio := taken.Seconds() / theirs.seconds
	fmt.Printf("R's glm: %.3f s (%s)\n", theirs.seconds, theirs.version)
	fmt.Printf("ours over R's: %.3f; the mark is at most %g\n", ratio, mark)
	furthest, err := apart(ours, theirs.coefficients)
	if err != nil {
		return err
	}
	fmt.Printf("coefficients lie at most %.1e apart; the mark is at most %.0e\n", furthest, agreement)
	if ratio > mark || furthest > agreement {
		return errors.New("a mark is missed")
	}
	return nil
}

// invented draws rows of one trial each from a logistic model.
func invented(rows int, seed uint64) regression.Data {
	draw := rand.New(rand.NewPCG(seed, 2))
	d := regression.Data{Family: regression.Binomial, Events: make([]int64, rows)}
	for k := range covariates {
		t := regression.Term{Name: "x" + strconv.Itoa(k), Values: make([]float64, rows)}
		for i := range t.Values {
			t.Values[i] = draw.NormFloat64()
		}
		d.Terms = append(d.Terms, t)
	}
	for i := range d.Events {
		eta := -2.0
		for k := range d.Terms {
			eta += 0.1 * float64(k%5) * d.Terms[k].Values[i]
		}
		if draw.Float64() < 1/(1+math.Exp(-eta)) {
			d.Events[i] = 1
		}
	}
	return d
}

// fitted fits several times and gives the median time and the coefficients.
func fitted(d regression.Data) (time.Duration, []float64, error) {
	var taken []time.Duration
	var coefficients []float64
	for range rounds {
		start := time.Now()
		m, err := regression.Fit(d, regression.Options{})
		taken = append(taken, time.Since(start))
		if err != nil {
			return 0, nil, err
		}
		coefficients = coefficients[:0]
		for _, c := range m.Coefficients {
			coefficients = append(coefficients, c.Estimate)
		}
	}
	slices.Sort(taken)
	return taken[len(taken)/2], coefficients, nil
}

// write writes the rows as CSV with all digits, so that both sides fit the same
// numbers.
func write(d regression.Data, name string) error {
	file, err := os.Create(name)
	if err != nil {
		return err
	}
	defer file.Close()
	w := bufio.NewWriter(file)
	w.WriteString("y")
	for k := range d.Terms {
		w.WriteString("," + d.Terms[k].Name)
	}
	w.WriteByte('\n')
	for i, y := range d.Events {
		w.WriteString(strconv.FormatInt(y, 10))
		for k := range d.Terms {
			w.WriteByte(',')
			w.WriteString(strconv.FormatFloat(d.Terms[k].Values[i], 'g', -1, 64))
		}
		w.WriteByte('\n')
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return file.Close()
}

// apart is the greatest difference of two lists of coefficients.
func apart(ours, theirs []float64) (float64, error) {
	if len(ours) != len(theirs) {
		return 0, fmt.Errorf("the glm of R gave %d coefficients, expected %d", len(theirs), len(ours))
	}
	furthest := 0.0
	for i := range ours {
		furthest = math.Max(furthest, math.Abs(ours[i]-theirs[i]))
	}
	return furthest, nil
}
