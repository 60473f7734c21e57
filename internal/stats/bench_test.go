package stats

import "testing"

func BenchmarkProportion(b *testing.B) {
	const attempts = 10_000_000
	for _, failures := range []struct {
		name  string
		count int64
	}{{"rare", 50_000}, {"half", attempts / 2}} {
		for _, method := range []ProportionMethod{Wilson, ClopperPearson, Jeffreys} {
			b.Run(failures.name+"/"+method.String(), func(b *testing.B) {
				for b.Loop() {
					if _, err := Proportion(failures.count, attempts, method, 0.95); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

func BenchmarkFisherExact(b *testing.B) {
	for _, c := range []struct {
		name  string
		table [4]int64
	}{
		{"one lot of 2000 against the rest of 10 million", [4]int64{20, 1_980, 49_980, 9_948_020}},
		{"halves of 10 million, rare", [4]int64{25_000, 4_975_000, 25_500, 4_974_500}},
		{"halves of 10 million, even", [4]int64{2_500_100, 2_499_900, 2_499_900, 2_500_100}},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := FisherExact(c.table[0], c.table[1], c.table[2], c.table[3]); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkPoissonRate(b *testing.B) {
	for _, method := range []PoissonMethod{Garwood, MidP} {
		b.Run(method.String(), func(b *testing.B) {
			for b.Loop() {
				if _, err := PoissonRate(50_000, 1e7, method, 0.95); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
