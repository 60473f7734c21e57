package cli

import "jointledger/internal/label"

// unlabel turns the code of a label into the name that it stands for, so that
// places, lots and tools can be scanned or typed from their labels. A text that is
// no code is given back as it is; one that was mistyped is refused before anything
// is sent.
func unlabel(text string) (string, error) {
	if !label.Coded(text) {
		return text, nil
	}
	name, err := label.Parse(text)
	if err != nil {
		return "", usage("%v", err)
	}
	return name, nil
}
