package quantity

// Entry is a quantity as a person entered it. It is kept beside the SI value,
// so that the figure can be shown as typed and is never converted twice.
type Entry[Q ~float64, U ~uint8] struct {
	Quantity Q       // the value in the unit of its type
	Number   float64 // the number typed
	Unit     U       // the unit typed, or the one that a bare number was taken in
	Text     string  // the text exactly as typed
}

// read reads the text as a quantity of the scale. A bare number is taken in
// the fallback unit; the zero fallback stands for none.
func read[Q ~float64, U ~uint8](s *scale, text string, fallback U) (Entry[Q, U], error) {
	r, err := s.read(text, int(fallback))
	if err != nil {
		return Entry[Q, U]{}, err
	}
	return Entry[Q, U]{Quantity: Q(r.si), Number: r.number, Unit: U(r.unit), Text: text}, nil
}
