package sampling_test

import (
	"math"
	"math/big"
	"testing"

	"jointledger/internal/sampling"
)

// n = 52, c = 3 at p = 0.01 to 0.12 (NIST/SEMATECH e-Handbook 6.2.3.2, published
// to three decimals, from memory; all digits recomputed with R 4.2.2): binomial,
// hypergeometric in a lot of 500, Poisson, and the average outgoing quality of
// lots of 10 000.
var handbook = []struct {
	binomial, lot500, poisson, outgoing float64
}{
	{0.99815306526, 0.999514647058, 0.997982801868, 0.00992962669321},
	{0.97976508012, 0.98634149984, 0.978460584427, 0.0194934060341},
	{0.929537383868, 0.940226536603, 0.926602570858, 0.0277411136842},
	{0.845989468474, 0.856318535558, 0.842406752886, 0.0336636129295},
	{0.738317410797, 0.744177792782, 0.736001644385, 0.036723908013},
	{0.619593873402, 0.619008816646, 0.620367944959, 0.0369823191156},
	{0.501847251964, 0.494980622489, 0.506746125313, 0.0349466352378},
	{0.393763025569, 0.382140854475, 0.402852129713, 0.0313372366269},
	{0.300279924626, 0.285930288163, 0.312842621291, 0.0268846622116},
	{0.223187098561, 0.20801781231, 0.238065498723, 0.0222026525649},
	{0.162065526684, 0.147539458198, 0.177992342029, 0.017734506454},
	{0.11519841595, 0.102244810476, 0.131037903371, 0.0137519261025},
}

func TestOperatingCharacteristic(t *testing.T) {
	plan := sampling.Single{SampleSize: 52, Accept: 3}
	value := must[float64](t)
	for i, want := range handbook {
		p := float64(i+1) / 100
		near(t, "binomial", value(plan.AcceptBinomial(p)), want.binomial, 1e-10)
		near(t, "hypergeometric", value(plan.AcceptLot(sampling.Lot{Size: 500, Nonconforming: 5 * (i + 1)})), want.lot500, 1e-10)
		near(t, "Poisson", value(plan.AcceptPoisson(p)), want.poisson, 1e-10)
		near(t, "outgoing", value(plan.AverageOutgoing(10000, p)), want.outgoing, 1e-10)
	}
	// Published .0372 at p = .06 is without the share of the sample.
	near(t, "outgoing of continuing lots", value(plan.AverageOutgoingContinuing(0.06)), 0.0371756324041, 1e-10)

	// The limit: R 4.2.2, a search whose place is good to about 1e-8.
	limit, err := plan.AverageOutgoingLimit(10000)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "limit", limit.Outgoing, 0.037190098243, 1e-10)
	near(t, "place of the limit", limit.Incoming, 0.0559107550591, 1e-6)
}

// Other points: n 80 c 2, n 50 c 1, n 125 c 3 (computed with another tool), and 7
// CFR 42.140 for n 500 c 3 ("26 %" and "about 99 %", seen; Poisson).
func TestOperatingCharacteristicSpots(t *testing.T) {
	value := must[float64](t)
	for _, tt := range []struct {
		n, c    int
		p, want float64
	}{
		{80, 2, 0.01, 0.95345}, {80, 2, 0.05, 0.23062}, {50, 1, 0.01, 0.91056}, {50, 1, 0.05, 0.27943}, {125, 3, 0.01, 0.96255},
	} {
		near(t, "binomial", value(sampling.Single{SampleSize: tt.n, Accept: tt.c}.AcceptBinomial(tt.p)), tt.want, 1e-5)
	}
	rule := sampling.Single{SampleSize: 500, Accept: 3}
	near(t, "1 per hundred", value(rule.AcceptPoisson(0.01)), 0.26503, 3e-5)
	near(t, "0.1 per hundred", value(rule.AcceptPoisson(0.001)), 0.99825, 1e-5)
}

// MIL-STD-105E, tables X-J and X-E, AQL 1.0: percent nonconforming accepted with
// the given probability (three digits published, seen; all recomputed with R
// 4.2.2).
func TestQualityAccepted(t *testing.T) {
	probabilities := []float64{.99, .95, .9, .75, .5, .25, .1, .05, .01}
	value := must[float64](t)
	for i, want := range []float64{0.550467944768, 1.02978013601, 1.38542782823, 2.16288890603, 3.32853177682, 4.8419118478, 6.51596669916, 7.66108767538, 10.095484758} {
		near(t, "J", 100*value(sampling.Single{SampleSize: 80, Accept: 2}.FractionAccepted(probabilities[i])), want, 1e-9)
	}
	for i, want := range []float64{0.0772803991022, 0.393786422764, 0.807190088067, 2.18863314489, 5.19224856608, 10.1149026804, 16.2322359932, 20.5816665187, 29.829617133} {
		near(t, "E", 100*value(sampling.Single{SampleSize: 13}.FractionAccepted(probabilities[i])), want, 1e-9)
	}
	// Half of the chi-square quantile with 2(c+1) degrees of freedom: 6.2961 for
	// c = 2 at 5 % (tables of chi-square: 12.5916 with 6 degrees).
	near(t, "Poisson", value(sampling.Single{SampleSize: 80, Accept: 2}.PerUnitAccepted(0.05)), 12.5916/2/80, 1e-5)
	near(t, "Poisson, one accepted of one", value(sampling.Single{SampleSize: 1, Accept: 1}.PerUnitAccepted(0.05)), 9.4877/2, 1e-5)
}

// Every hypergeometric probability of small lots, against exact integer
// arithmetic with binomial coefficients.
func TestAcceptLotExactly(t *testing.T) {
	value := must[float64](t)
	for size := 1; size <= 14; size++ {
		for bad := 0; bad <= size; bad++ {
			lot := sampling.Lot{Size: size, Nonconforming: bad}
			for n := 1; n <= size; n++ {
				all := new(big.Int).Binomial(int64(size), int64(n))
				sum := new(big.Int)
				for c := 0; c <= n; c++ {
					if c <= bad && n-c <= size-bad {
						ways := new(big.Int).Binomial(int64(bad), int64(c))
						sum.Add(sum, ways.Mul(ways, new(big.Int).Binomial(int64(size-bad), int64(n-c))))
					}
					want, _ := new(big.Rat).SetFrac(sum, all).Float64()
					got := value(sampling.Single{SampleSize: n, Accept: c}.AcceptLot(lot))
					if math.Abs(got-want) > 1e-12 {
						t.Fatalf("lot %+v, n %d, c %d: %.15g, want %.15g", lot, n, c, got, want)
					}
				}
			}
		}
	}
}

// Large samples: the first term of these sums is far below the smallest float64.
func TestLargeSamples(t *testing.T) {
	value := must[float64](t)
	// P(X <= 1000) for X binomial (2000, 1/2) is 1/2 and half the middle term,
	// C(2000,1000)/2^2000.
	middle := new(big.Rat).SetFrac(new(big.Int).Binomial(2000, 1000), new(big.Int).Lsh(big.NewInt(1), 2000))
	half, _ := middle.Float64()
	near(t, "binomial", value(sampling.Single{SampleSize: 2000, Accept: 1000}.AcceptBinomial(0.5)), 0.5+half/2, 1e-11)
	// The same by symmetry for a lot that is half nonconforming.
	middle = new(big.Rat).SetFrac(
		new(big.Int).Mul(new(big.Int).Binomial(5000, 1000), new(big.Int).Binomial(5000, 1000)), new(big.Int).Binomial(10000, 2000))
	half, _ = middle.Float64()
	near(t, "hypergeometric", value(sampling.Single{SampleSize: 2000, Accept: 1000}.AcceptLot(sampling.Lot{Size: 10000, Nonconforming: 5000})), 0.5+half/2, 1e-11)
}

func TestCharacteristicEdges(t *testing.T) {
	value := must[float64](t)
	plan := sampling.Single{SampleSize: 20, Accept: 1}
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"perfect process", value(plan.AcceptBinomial(0)), 1},
		{"hopeless process", value(plan.AcceptBinomial(1)), 0},
		{"accepts anything", value(sampling.Single{SampleSize: 2, Accept: 2}.AcceptBinomial(1)), 1},
		{"no nonconformities", value(plan.AcceptPoisson(0)), 1},
		{"clean lot", value(plan.AcceptLot(sampling.Lot{Size: 30})), 1},
		{"lot all bad", value(plan.AcceptLot(sampling.Lot{Size: 30, Nonconforming: 30})), 0},
		{"sample is the lot", value(plan.AverageOutgoing(20, 0.05)), 0},
	} {
		if tt.got != tt.want {
			t.Errorf("%s: %g, want %g", tt.name, tt.got, tt.want)
		}
	}
}

func TestCharacteristicErrors(t *testing.T) {
	plan := sampling.Single{SampleSize: 20, Accept: 1}
	_, err := plan.AcceptBinomial(2)
	wantRangeError(t, err, "fraction nonconforming")
	_, err = plan.AcceptBinomial(math.NaN())
	wantRangeError(t, err, "fraction nonconforming")
	_, err = plan.AcceptPoisson(-1)
	wantRangeError(t, err, "nonconformities per unit")
	_, err = plan.AcceptLot(sampling.Lot{Size: 10})
	wantRangeError(t, err, "sample size")
	_, err = plan.AcceptLot(sampling.Lot{})
	wantRangeError(t, err, "lot size")
	_, err = sampling.Single{SampleSize: 5, Accept: -1}.AcceptBinomial(0.1)
	wantRangeError(t, err, "acceptance number")
	_, err = plan.AverageOutgoing(10, 0.1)
	wantRangeError(t, err, "sample size")
	_, err = sampling.Single{SampleSize: 2, Accept: 2}.AverageOutgoingLimit(10)
	wantRangeError(t, err, "acceptance number")
	_, err = sampling.Single{SampleSize: 2, Accept: 2}.FractionAccepted(0.5)
	wantRangeError(t, err, "acceptance number")
	_, err = plan.PerUnitAccepted(1)
	wantRangeError(t, err, "probability of acceptance")
}

// Success-run sample sizes (widely tabulated; recomputed with R 4.2.2).
func TestZeroAcceptancePlan(t *testing.T) {
	for _, tt := range []struct {
		confidence, fraction float64
		want                 int
	}{
		{.95, .05, 59}, {.95, .10, 29}, {.90, .05, 45}, {.90, .10, 22}, {.95, .01, 299}, {.90, .01, 230}, {.99, .01, 459},
		{.5, .5, 1}, {.75, .5, 2}, {.875, .5, 3}, {.1, .9, 1}, // exact ties, and less than one item
	} {
		got, err := sampling.Claim{Confidence: tt.confidence, Nonconforming: tt.fraction}.ZeroAcceptancePlan()
		if err != nil || got != (sampling.Single{SampleSize: tt.want}) {
			t.Errorf("%g, %g: %+v, %v; want n %d", tt.confidence, tt.fraction, got, err, tt.want)
		}
	}
	value := must[float64](t)
	near(t, "58", value(sampling.Single{SampleSize: 58}.AcceptBinomial(0.05)), 0.0510468686836, 1e-10)
	near(t, "59", value(sampling.Single{SampleSize: 59}.AcceptBinomial(0.05)), 0.0484945252494, 1e-10)
	_, err := sampling.Claim{Confidence: 95, Nonconforming: 0.05}.ZeroAcceptancePlan()
	wantRangeError(t, err, "confidence")
	_, err = sampling.Claim{Confidence: 0.95}.ZeroAcceptancePlan()
	wantRangeError(t, err, "fraction nonconforming")
}

// Finite lots, 95 % confidence (computed with R 4.2.2).
func TestZeroAcceptancePlanInLot(t *testing.T) {
	for _, tt := range []struct{ size, bad, want int }{{50, 3, 31}, {100, 5, 45}, {500, 25, 56}, {10, 10, 1}, {10, 1, 10}} {
		got, err := sampling.Lot{Size: tt.size, Nonconforming: tt.bad}.ZeroAcceptancePlan(0.95)
		if err != nil || got != (sampling.Single{SampleSize: tt.want}) {
			t.Errorf("lot %d with %d: %+v, %v; want n %d", tt.size, tt.bad, got, err, tt.want)
		}
	}
	value := must[float64](t)
	lot := sampling.Lot{Size: 100, Nonconforming: 5}
	near(t, "45", value(sampling.Single{SampleSize: 45}.AcceptLot(lot)), 0.0462063433621, 1e-10)
	near(t, "44", value(sampling.Single{SampleSize: 44}.AcceptLot(lot)), 0.050736377025, 1e-10)
	near(t, "power", value(lot.DetectionPower(45)), 1-0.0462063433621, 1e-10)
	_, err := sampling.Lot{Size: 10}.ZeroAcceptancePlan(0.95)
	wantRangeError(t, err, "nonconforming items")
}

// Two-point design (computed with R 4.2.2): 1 % accepted with 95 %, 6 % with at
// most 10 %.
func TestTwoPointPlan(t *testing.T) {
	got, err := sampling.TwoPoints{Good: .01, ProducerRisk: .05, Bad: .06, ConsumerRisk: .10}.Plan()
	if err != nil || got != (sampling.Single{SampleSize: 110, Accept: 3}) {
		t.Fatalf("%+v, %v; want n 110, c 3", got, err)
	}
	value := must[float64](t)
	near(t, "good", value(got.AcceptBinomial(.01)), 0.974961853635, 1e-10)
	near(t, "bad", value(got.AcceptBinomial(.06)), 0.0980303807536, 1e-10)
	_, err = sampling.TwoPoints{Good: .06, ProducerRisk: .05, Bad: .01, ConsumerRisk: .10}.Plan()
	wantRangeError(t, err, "bad quality")
	_, err = sampling.TwoPoints{Good: .01, ProducerRisk: .05, Bad: .0100001, ConsumerRisk: .10}.Plan()
	wantRangeError(t, err, "bad quality")
	_, err = sampling.TwoPoints{Good: .01, Bad: .06, ConsumerRisk: .10}.Plan()
	wantRangeError(t, err, "producer's risk")
}
