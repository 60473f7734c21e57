package metrology

// decideSimple is simple acceptance (JCGM 106:2012, 8.2; ILAC-G8:09/2019, 4.2):
// pass when the result lies within the limit, whatever its uncertainty. A
// result on the limit is then wrong every other time.
func (r Result) decideSimple() (Outcome, error) {
	if err := r.check(false); err != nil {
		return Fail, err
	}
	if r.within(r.Limit) {
		return Pass, nil
	}
	return Fail, nil
}
