package quantity

import (
	"math/big"
	"strconv"
	"strings"
	"unicode/utf8"
)

// number is a number as typed at the start of a text. It is held exactly: were
// it rounded to float64 before it is converted, 1-1/2 in would become
// 38.099999999999994 mm and fall short of a specified 38.1 mm.
type number struct {
	value    *big.Rat
	text     string
	fraction bool
}

const digits = "0123456789"

// readNumber reads the number at the start of the text and gives what follows
// it. It takes 150, 20.7, .5, 1.5e2, 1/2, 1 1/2 and 1-1/2, each with a sign or
// without, and explains what else looks like a number. A fault's Expected is
// left empty where only the caller can say what was expected.
func readNumber(text string) (number, string, *ParseError) {
	unsigned, negative := cutSign(text)
	decimal, rest := cutDecimal(unsigned)
	if fault := notDecimal(unsigned, decimal, rest); fault != nil {
		return number{}, "", fault
	}
	value, after, fraction := cutFraction(decimal, rest)
	if fraction {
		rest = after
	}
	signed := text[:len(text)-len(rest)]
	if !fraction {
		var fault *ParseError
		if value, fault = exactDecimal(decimal, signed); fault != nil {
			return number{}, "", fault
		}
	}
	if value == nil {
		return number{}, "", &ParseError{Part: signed, Problem: shown(signed) + " divides by zero", Expected: "the lower number of a fraction is at least 1"}
	}
	if fault := stuckToNumber(text, rest); fault != nil {
		return number{}, "", fault
	}
	if negative {
		value.Neg(value)
	}
	return number{value: value, text: signed, fraction: fraction}, rest, nil
}

// exactDecimal gives the value of a plain decimal, which float64 must be able
// to hold: that bounds the exponent, and with it the work of exact arithmetic.
func exactDecimal(decimal, signed string) (*big.Rat, *ParseError) {
	// The text being a plain decimal, the only error is the range.
	rounded, err := strconv.ParseFloat(decimal, 64)
	if err != nil {
		return nil, tooLarge(signed)
	}
	if rounded == 0 {
		mantissa, _, _ := strings.Cut(strings.ToLower(decimal), "e")
		if strings.ContainsAny(mantissa, "123456789") {
			return nil, tooSmall(signed)
		}
		return new(big.Rat), nil
	}
	return exact(decimal), nil
}

// exact gives the value of a plain decimal, however many digits it has.
func exact(decimal string) *big.Rat {
	value, ok := new(big.Rat).SetString(decimal)
	if !ok {
		panic("quantity: not a decimal number: " + decimal)
	}
	return value
}

// cutSign takes off a sign: plus, hyphen-minus or the typeset minus.
func cutSign(text string) (unsigned string, negative bool) {
	for _, minus := range []string{"-", "−"} {
		if rest, ok := strings.CutPrefix(text, minus); ok {
			return rest, true
		}
	}
	return strings.TrimPrefix(text, "+"), false
}

// cutDecimal cuts after digits, a point with digits after it, and an exponent
// with digits after it.
func cutDecimal(text string) (decimal, rest string) {
	end := digitsEnd(text, 0)
	if strings.HasPrefix(text[end:], ".") && digitsEnd(text, end+1) > end+1 {
		end = digitsEnd(text, end+1)
	}
	if end > 0 && end < len(text) && (text[end] == 'e' || text[end] == 'E') {
		start := end + 1
		if start < len(text) && (text[start] == '+' || text[start] == '-') {
			start++
		}
		if exponent := digitsEnd(text, start); exponent > start {
			end = exponent
		}
	}
	return text[:end], text[end:]
}

// digitsEnd gives where the run of digits from start on ends.
func digitsEnd(text string, start int) int {
	for start < len(text) && text[start] >= '0' && text[start] <= '9' {
		start++
	}
	return start
}

// cutFraction cuts a fraction that begins with the decimal: a/b, or c a/b or
// c-a/b with a less than b. The value is nil when b is 0.
func cutFraction(decimal, rest string) (value *big.Rat, after string, ok bool) {
	if strings.Trim(decimal, digits) != "" {
		return nil, "", false
	}
	if after, ok := strings.CutPrefix(rest, "/"); ok {
		end := digitsEnd(after, 0)
		return ratio(decimal, after[:end]), after[end:], end > 0
	}
	second := strings.TrimLeftFunc(rest, blank)
	if second == rest {
		second = strings.TrimPrefix(rest, "-")
	}
	over, under, found := strings.Cut(second, "/")
	if !found || second == rest || over == "" || strings.Trim(over, digits) != "" {
		return nil, "", false
	}
	end := digitsEnd(under, 0)
	value = ratio(over, under[:end])
	if end == 0 || value != nil && value.Cmp(exact("1")) >= 0 {
		return nil, "", false
	}
	if value != nil {
		value.Add(value, exact(decimal))
	}
	return value, under[end:], true
}

// ratio gives over/under, two runs of digits; nil for division by zero.
func ratio(over, under string) *big.Rat {
	if strings.Trim(under, "0") == "" {
		return nil
	}
	return new(big.Rat).Quo(exact(over), exact(under))
}

// notDecimal explains a text that has no decimal number at its start, or one
// of another base.
func notDecimal(unsigned, decimal, rest string) *ParseError {
	lower := strings.ToLower(unsigned)
	switch {
	case strings.HasPrefix(lower, "nan"), strings.HasPrefix(lower, "inf"):
		part := firstWord(unsigned)
		return &ParseError{Part: part, Problem: shown(part) + " is not a finite number", Expected: "a decimal number is expected"}
	case decimal == "0" && len(rest) > 1 && strings.Contains("xXbBoO", rest[:1]) && strings.Contains("0123456789abcdefABCDEF", rest[1:2]):
		part := firstWord(unsigned)
		return &ParseError{Part: part, Problem: shown(part) + " is not in base ten", Expected: "a decimal number is expected"}
	case decimal != "":
		return nil
	case strings.HasPrefix(unsigned, ",") && digitsEnd(unsigned, 1) > 1:
		return stuckToNumber(unsigned, unsigned)
	case unsigned == "":
		return &ParseError{Problem: "there is no number"}
	}
	return &ParseError{Part: unsigned, Problem: shown(unsigned) + " does not begin with a number"}
}

// stuckToNumber explains what follows a number and can only be a part of it.
// The number is what comes before rest in text.
func stuckToNumber(text, rest string) *ParseError {
	before := text[:len(text)-len(rest)]
	next, size := utf8.DecodeRuneInString(rest)
	digitFollows := digitsEnd(rest, size) > size
	whole := before + rest[:numberEnd(rest)]
	switch {
	case next == ',':
		return &ParseError{Part: whole, Problem: shown(whole) + " has a comma", Expected: commaAdvice(whole)}
	case strings.ContainsRune("_'’", next) && size > 0 && digitFollows:
		return &ParseError{Part: whole, Problem: shown(whole) + " has a separator within the number", Expected: "thousands are not separated"}
	case next == '.' && digitFollows:
		return &ParseError{Part: whole, Problem: shown(whole) + " has two points", Expected: "a point marks decimals, and thousands are not separated"}
	case next == '.':
		return &ParseError{Part: before + ".", Problem: shown(before+".") + " ends in a point", Expected: "digits follow the point"}
	case strings.ContainsRune("-−–", next) && digitFollows:
		whole = before + rest[:size+numberEnd(rest[size:])]
		return &ParseError{Part: whole, Problem: shown(whole) + " is more than one number", Expected: "one number is expected"}
	case next == '/':
		return &ParseError{Part: whole, Problem: shown(whole) + " is not a fraction", Expected: "a fraction is written as in 1/2 or 1-1/2"}
	}
	if gap := strings.TrimLeftFunc(rest, blank); gap != "" && digitsEnd(gap, 0) > 0 {
		whole = text[:len(text)-len(gap)] + gap[:numberEnd(gap)]
		return &ParseError{Part: whole, Problem: shown(whole) + " has a space within the number", Expected: "one number is expected, with thousands not separated"}
	}
	return nil
}

// numberEnd gives how far the text goes on looking like a number.
func numberEnd(text string) int {
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune(digits+".,_'’/", r) })
	if end < 0 {
		end = len(text)
	}
	return end
}

// commaAdvice says how to write a number typed with a comma. A comma before
// three digits may have separated thousands; which was meant, only the person
// knows.
func commaAdvice(whole string) string {
	before, after, _ := strings.Cut(whole, ",")
	if strings.Trim(after, digits) != "" || strings.Trim(before, digits+"+-−") != "" {
		return "a point marks decimals, and thousands are not separated"
	}
	advice := "the decimal sign is a point, as in " + before + "." + after
	if len(after) == 3 && before != "" {
		advice += "; thousands are not separated, as in " + before + after
	}
	return advice
}

// firstWord gives the text up to the first blank.
func firstWord(text string) string {
	if end := strings.IndexFunc(text, blank); end >= 0 {
		return text[:end]
	}
	return text
}

func tooLarge(part string) *ParseError {
	return &ParseError{Part: part, Problem: shown(part) + " is too large", Expected: "a number that can be stored is expected"}
}

func tooSmall(part string) *ParseError {
	return &ParseError{Part: part, Problem: shown(part) + " is too small to tell from zero", Expected: "zero is written as 0"}
}
