package analysis

import (
	"errors"
	"fmt"

	"jointledger/internal/metrology"
	"jointledger/internal/nearest"
)

// TypeClassCode gives the code of a type and class of ISO 6789-1 as people write
// it: `ii a` is II-A. The error names all that there are, and the nearest.
func TypeClassCode(text string) (string, error) {
	class, err := metrology.ParseToolClass(text)
	var unknown *metrology.UnknownToolClassError
	if errors.As(err, &unknown) {
		if near, ok := nearest.Name(text, unknown.Known); ok {
			return "", fmt.Errorf("%w; did you mean %s?", err, near)
		}
	}
	if err != nil {
		return "", err
	}
	return class.Code(), nil
}
