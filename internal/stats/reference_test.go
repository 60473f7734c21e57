package stats

import (
	"errors"
	"math"
	"testing"
)

// closeTo fails the test unless got is within the relative tolerance of want,
// or equal to it where want is 0.
func closeTo(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s = %.17g, want %.17g, relative difference %.2g", name, got, want, math.Abs(got-want)/math.Abs(want))
	}
}

// rounds fails the test unless got, rounded to the last printed place, is the
// published value.
func rounds(t *testing.T, name string, got, published, place float64) {
	t.Helper()
	if math.Abs(got-published) > place/2*(1+1e-9) {
		t.Errorf("%s = %.9g, does not round to the published %g", name, got, published)
	}
}

// refused fails the test unless err is an *ArgumentError about the argument,
// with the given sentence.
func refused(t *testing.T, err error, argument, sentence string) {
	t.Helper()
	var argumentError *ArgumentError
	if !errors.As(err, &argumentError) {
		t.Errorf("error %v, want an *ArgumentError about %s", err, argument)
		return
	}
	if argumentError.Argument != argument || argumentError.Error() != sentence {
		t.Errorf("error about %q: %q, want %q: %q", argumentError.Argument, argumentError, argument, sentence)
	}
}
