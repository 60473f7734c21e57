package bolting

import (
	"fmt"
	"strings"

	"jointledger/internal/metrology"
)

// Strength is one row of a strength table: what a standard prints for a class
// in a range of sizes. A stress of 0 means that the standard gives none. The
// same class may have several rows, because the values change with size.
type Strength struct {
	Class      string
	System     System
	Material   string
	Sizes      SizeRange
	Proof      Megapascals // stress under proof load, Sp
	Yield      Megapascals // yield or 0.2 % proof stress, minimum
	Tensile    Megapascals // tensile strength, minimum
	TensileMax Megapascals // tensile strength, maximum
	Source     metrology.Source
	Note       string // what the row alone does not tell
}

// SizeRange holds the nominal diameters from and to which a row applies, both
// included.
type SizeRange struct {
	From, To Millimetres
	text     string // as the standard prints it
}

// Contains tells whether a nominal diameter lies in the range.
func (r SizeRange) Contains(d Millimetres) bool {
	const slack = 1e-6
	return d >= r.From-slack && d <= r.To+slack
}

// String gives the range as its standard prints it.
func (r SizeRange) String() string { return r.text }

// UnknownClassError reports a class or grade that is in no table.
type UnknownClassError struct {
	Text  string
	Known []string
}

// Error lists the classes there are.
func (e *UnknownClassError) Error() string {
	return fmt.Sprintf("no property class or grade %q; there are %s", e.Text, strings.Join(e.Known, ", "))
}

// NoStrengthError reports a class that is known but has no value for the size
// or the system of the thread.
type NoStrengthError struct {
	Class   string
	Thread  string
	Sizes   []string // the sizes for which the class has values
	ForSize []string // the classes that have values for the thread
}

// Error lists what exists: the sizes of the class and the classes of the size.
func (e *NoStrengthError) Error() string {
	return fmt.Sprintf("%s has no value for %s; it has values for %s; for %s there are %s",
		e.Class, e.Thread, strings.Join(e.Sizes, ", "), e.Thread, strings.Join(e.ForSize, ", "))
}

// Strengths returns every row of the strength tables.
func Strengths() []Strength { return append([]Strength(nil), strengths()...) }

// Classes returns the property classes and grades, each once, in table order.
func Classes() []string {
	var list []string
	seen := map[string]bool{}
	for _, s := range strengths() {
		if !seen[s.Class] {
			seen[s.Class] = true
			list = append(list, s.Class)
		}
	}
	return list
}

// StrengthFor looks up the row of a property class or grade for a thread. The
// class is read without regard to case, spaces, hyphens and the words class,
// grade and SAE: "8.8", "class 8.8", "Grade 5", "SAE 5", "a2-70", "A2 70",
// "F593C". It fails with an *UnknownClassError, or with a *NoStrengthError that
// lists what exists when the class has no value for the size.
func StrengthFor(class string, t Thread) (Strength, error) {
	name := ""
	var sizes []string
	for _, s := range strengths() {
		if foldClass(s.Class) != foldClass(class) {
			continue
		}
		if s.System == t.System() && s.Sizes.Contains(t.Nominal) {
			return s, nil
		}
		name = s.Class
		sizes = append(sizes, fmt.Sprintf("%s (%s)", s.Sizes, s.System))
	}
	if name == "" {
		return Strength{}, &UnknownClassError{Text: class, Known: Classes()}
	}
	return Strength{}, &NoStrengthError{Class: name, Thread: t.Designation, Sizes: sizes, ForSize: classesFor(t)}
}

func classesFor(t Thread) []string {
	list := []string{}
	for _, s := range strengths() {
		if s.System == t.System() && s.Sizes.Contains(t.Nominal) {
			list = append(list, s.Class)
		}
	}
	return list
}

// foldClass drops what people write around a class. "GRADE" goes too, so that
// "5" and "SAE 5" find "Grade 5"; no metric class is a whole number.
func foldClass(class string) string {
	folded := strings.ToUpper(class)
	for _, word := range []string{"PROPERTY", "CLASS", "GRADE", "GR.", "SAE", "ASTM", " ", "-", "_"} {
		folded = strings.ReplaceAll(folded, word, "")
	}
	return strings.TrimPrefix(folded, "GR")
}

// NoProofLoadError reports a class whose standard gives no proof load.
type NoProofLoadError struct{ Class string }

// Error says what to take instead.
func (e *NoProofLoadError) Error() string {
	return fmt.Sprintf("the standard gives no proof load for %s: take a fraction of the yield stress instead", e.Class)
}

// NoYieldError reports a class whose standard gives no yield stress.
type NoYieldError struct{ Class string }

// Error names the class.
func (e *NoYieldError) Error() string {
	return fmt.Sprintf("the standard gives no yield stress for %s", e.Class)
}

// ProofLoad is the proof load of a thread, Sp times the nominal stress area. The
// printed proof loads are this product with irregular rounding, within 0.5 %.
// It fails with a *NoProofLoadError for stainless and other classes that have
// none.
func (s Strength) ProofLoad(t Thread) (Newtons, error) {
	if s.Proof == 0 {
		return 0, &NoProofLoadError{Class: s.Class}
	}
	return s.Proof.Over(t.NominalStressArea()), nil
}

// YieldLoad is the minimum yield stress times the nominal stress area. It fails
// with a *NoYieldError.
func (s Strength) YieldLoad(t Thread) (Newtons, error) {
	if s.Yield == 0 {
		return 0, &NoYieldError{Class: s.Class}
	}
	return s.Yield.Over(t.NominalStressArea()), nil
}

// TensileLoad is the minimum tensile strength times the nominal stress area.
func (s Strength) TensileLoad(t Thread) Newtons { return s.Tensile.Over(t.NominalStressArea()) }

// Utilisation is a preload as a fraction of what the fastener bears; 0 where
// the standard gives no such value.
type Utilisation struct {
	OfProof, OfYield, OfTensile float64
}

// Utilisation compares a preload with proof load, yield load and tensile load.
func (s Strength) Utilisation(t Thread, preload Newtons) Utilisation {
	share := func(stress Megapascals) float64 {
		if stress == 0 {
			return 0
		}
		return float64(preload / stress.Over(t.NominalStressArea()))
	}
	return Utilisation{OfProof: share(s.Proof), OfYield: share(s.Yield), OfTensile: share(s.Tensile)}
}
