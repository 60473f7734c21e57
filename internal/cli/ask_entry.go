package cli

import (
	"context"
	"strings"

	"jointledger/internal/ledger"
)

// jointQuestion asks for the joint of an entry.
func (a *app) jointQuestion() question {
	return question{"JOINT", "a joint, such as RVB/CT2/C3/J014, or J014 in the current cell", func(text string) error {
		_, err := a.placeHere(text, 4)
		return err
	}}
}

// fastenersQuestion asks for a number of fasteners.
var fastenersQuestion = question{"FASTENERS", "how many reached the torque at their first attempt", func(text string) error {
	_, err := parseCount("FASTENERS", text, 1, ledger.MaxFasteners)
	return err
}}

// wordCheck checks an answer against the words of a closed list.
func wordCheck[T ~uint8](words ledger.Words[T]) func(string) error {
	return func(text string) error {
		_, err := words.Parse(text)
		return err
	}
}

// findPerson completes who reports: what is kept for the shift goes before the settings
// file, and after what was given for this run.
func (a *app) findPerson(ctx context.Context, required bool) error {
	s := &a.settings
	if from := s.from["person"]; from != "--person" && from != envPerson {
		hand, err := a.inHand()
		if err != nil {
			return err
		}
		if kept, ok := hand["person"]; ok {
			s.person = kept.Value
			a.filledIn("person", kept)
		}
	}
	if s.person != "" || !required {
		return nil
	}
	if !a.mayAsk() {
		return usage("expected who reports it: --person, or %s in the environment, or trackctl at --person for the shift", envPerson)
	}
	text, err := a.ask(ctx, question{"person", "who reports: initials or badge", func(text string) error {
		_, err := resourceArg(text, "people")
		return err
	}})
	s.person = strings.ToLower(strings.TrimPrefix(text, "people/"))
	return err
}
