package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// valueClass is what a value of a column is, on either engine.
type valueClass uint8

const (
	integerClass valueClass = iota
	smallClass              // 16 bits
	mediumClass             // 32 bits
	booleanClass
	floatClass
	textClass
	bytesClass
	jsonClass
)

// valueClasses are the classes of PostgreSQL's types.
var valueClasses = map[string]valueClass{
	"smallint": smallClass, "integer": mediumClass, "bigint": integerClass,
	"boolean": booleanClass, "double precision": floatClass,
	"character varying": textClass, "text": textClass, "bytea": bytesClass, "jsonb": jsonClass, "json": jsonClass,
}

// read gives a value as it is sent, and as it is told: the same bytes on both engines
// for the same value. A NULL is nil and no bytes.
func (c valueClass) read(v any) (value any, told []byte, err error) {
	if v == nil {
		return nil, nil, nil
	}
	switch c {
	case integerClass:
		return readInteger(v, 64)
	case mediumClass:
		return readInteger(v, 32)
	case smallClass:
		return readInteger(v, 16)
	case booleanClass:
		return readBoolean(v)
	case floatClass:
		return readFloat(v)
	case textClass:
		if s, ok := v.(string); ok {
			return s, []byte(s), soundText(s)
		}
	case bytesClass:
		if b, ok := v.([]byte); ok {
			return append([]byte{}, b...), b, nil // never nil, which would be a NULL
		}
	case jsonClass:
		return readJSON(v)
	}
	return nil, nil, fmt.Errorf("a %T stands there, which is no value of its type", v)
}

func readInteger(v any, bits int) (any, []byte, error) {
	n, ok := v.(int64)
	if !ok {
		return nil, nil, fmt.Errorf("%v stands there; expected a whole number", v)
	}
	if most := int64(1)<<(bits-1) - 1; n > most || n < -most-1 {
		return nil, nil, fmt.Errorf("%d stands there, which %d bits do not hold", n, bits)
	}
	return n, strconv.AppendInt(nil, n, 10), nil
}

func readBoolean(v any) (any, []byte, error) {
	switch v := v.(type) {
	case bool:
		return v, strconv.AppendBool(nil, v), nil
	case int64:
		if v == 0 || v == 1 {
			return v == 1, strconv.AppendBool(nil, v == 1), nil
		}
	}
	return nil, nil, fmt.Errorf("%v stands there; expected 0 or 1", v)
}

func readFloat(v any) (any, []byte, error) {
	f, ok := v.(float64)
	if n, whole := v.(int64); whole {
		f, ok = float64(n), int64(float64(n)) == n
	}
	if !ok || math.IsNaN(f) || math.IsInf(f, 0) {
		return nil, nil, fmt.Errorf("%v stands there; expected a finite number", v)
	}
	f += 0 // SQLite keeps no sign of a zero
	return f, strconv.AppendFloat(nil, f, 'g', -1, 64), nil
}

// soundText refuses what PostgreSQL keeps in no text.
func soundText(s string) error {
	switch {
	case strings.ContainsRune(s, 0):
		return errors.New("the text has a zero byte, which PostgreSQL does not keep")
	case !utf8.ValidString(s):
		return errors.New("the text is not UTF-8")
	}
	return nil
}

// readJSON tells a document with its keys in order, nothing between, and each number
// in one form: PostgreSQL keeps neither spaces nor the order of keys.
func readJSON(v any) (any, []byte, error) {
	var text []byte
	switch v := v.(type) {
	case string:
		text = []byte(v)
	case []byte:
		text = v
	default:
		return nil, nil, fmt.Errorf("a %T stands there; expected JSON", v)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var document any
	if err := d.Decode(&document); err != nil {
		return nil, nil, fmt.Errorf("it is not JSON: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, nil, errors.New("it is not JSON: something stands behind the document")
	}
	document, err := plainJSON(document)
	if err != nil {
		return nil, nil, err
	}
	told, err := json.Marshal(document)
	return string(text), told, err
}

// plainJSON puts numbers into one form and refuses texts that PostgreSQL does not
// keep.
func plainJSON(document any) (_ any, err error) {
	switch v := document.(type) {
	case string:
		return v, soundText(v)
	case json.Number:
		return plainNumber(v), nil
	case []any:
		for i := range v {
			if v[i], err = plainJSON(v[i]); err != nil {
				return nil, err
			}
		}
	case map[string]any:
		for key := range v {
			if err := soundText(key); err != nil {
				return nil, err
			}
			if v[key], err = plainJSON(v[key]); err != nil {
				return nil, err
			}
		}
	}
	return document, nil
}

// plainNumber writes 1e+17 and 100000000000000000 alike. What no float64 holds stays
// as it is.
func plainNumber(n json.Number) json.Number {
	if whole, err := n.Int64(); err == nil {
		return json.Number(strconv.FormatInt(whole, 10))
	}
	f, err := n.Float64()
	switch {
	case err != nil:
		return n
	case f == math.Trunc(f):
		return json.Number(strconv.FormatFloat(f+0, 'f', -1, 64))
	}
	return json.Number(strconv.FormatFloat(f, 'g', -1, 64))
}
