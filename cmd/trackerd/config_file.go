package main

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"jointledger/internal/nearest"
)

// fileValue is what the settings file says of one setting.
type fileValue struct {
	// texts are its values, one where it is no list; raw is what was written.
	texts []string
	raw   string
	// where is the file and the line.
	where string
}

// readFile reads the settings file, by the keys in it; nil where none is named.
func (s *settings) readFile(known map[string]bool) (map[string]fileValue, error) {
	if s.file == "" {
		s.file = os.Getenv(configVariable)
	}
	if s.file == "" {
		return nil, nil
	}
	data, err := os.ReadFile(s.file)
	if err != nil {
		return nil, configError{fmt.Errorf("the settings file can't be read: %w", err)}
	}
	given := map[string]any{}
	if err := toml.Unmarshal(data, &given); err != nil {
		return nil, configError{fmt.Errorf("the settings file %s is no TOML: %w", s.file, tomlProblem(err))}
	}
	lines := keyLines(data)
	values := map[string]fileValue{}
	var problems []error
	keys := make([]string, 0, len(given))
	for key := range given {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b string) int { return lines[a] - lines[b] })
	for _, key := range keys {
		where := fmt.Sprintf("%s, line %d", s.file, lines[key])
		if !known[strings.ReplaceAll(key, "_", "-")] || strings.Contains(key, "-") {
			problems = append(problems, configError{fmt.Errorf("%s: %s: %s", where, key, unknownSetting(key, known))})
			continue
		}
		texts, err := textsOf(given[key])
		if err != nil {
			problems = append(problems, configError{fmt.Errorf("%s: %s: %w", where, key, err)})
			continue
		}
		values[key] = fileValue{texts, fmt.Sprint(given[key]), where}
	}
	return values, errors.Join(problems...)
}

// textsOf reads one value as the flag would be given.
func textsOf(value any) ([]string, error) {
	switch v := value.(type) {
	case string:
		return []string{v}, nil
	case bool, int64, float64:
		return []string{fmt.Sprint(v)}, nil
	case []any:
		var texts []string
		for _, of := range v {
			text, ok := of.(string)
			if !ok {
				return nil, errors.New("expected a list of texts between quotation marks")
			}
			texts = append(texts, text)
		}
		return texts, nil
	}
	return nil, errors.New("expected text, a number, true or false, or a list of texts; there are no sections")
}

// keyLines finds the line in which each key at the top stands, 1 the first.
func keyLines(data []byte) map[string]int {
	lines := map[string]int{}
	var p unstable.Parser
	p.Reset(data)
	for p.NextExpression() {
		e := p.Expression()
		if e.Kind != unstable.KeyValue && e.Kind != unstable.Table && e.Kind != unstable.ArrayTable {
			continue
		}
		parts := e.Key()
		if !parts.Next() {
			continue
		}
		if first := parts.Node(); lines[string(first.Data)] == 0 {
			lines[string(first.Data)] = p.Shape(first.Raw).Start.Line
		}
	}
	return lines
}

func unknownSetting(key string, known map[string]bool) string {
	keys := make([]string, 0, len(known))
	for flag := range known {
		keys = append(keys, keyOf(flag))
	}
	slices.Sort(keys)
	if n, ok := nearest.Name(key, keys); ok {
		return "there is no such setting; did you mean " + n + "?"
	}
	return "there is no such setting; there are " + strings.Join(keys, ", ")
}

// tomlProblem says where a file is no TOML.
func tomlProblem(err error) error {
	var wrong *toml.DecodeError
	if !errors.As(err, &wrong) {
		return err
	}
	line, column := wrong.Position()
	return fmt.Errorf("line %d, column %d: %s", line, column, strings.TrimPrefix(wrong.Error(), "toml: "))
}
