package ledger

import (
	"slices"
	"strings"
)

// Classes of ISO 6789-1:2017, clause 4, by type: I, indicating, and II, setting; parted
// into those of wrenches and those of screwdrivers. II-A was seen in a tool manual that
// quotes the standard; the others are from memory.
var (
	wrenchClasses      = []string{"I-A", "I-B", "I-C", "II-A", "II-B", "II-C", "II-G"}
	screwdriverClasses = []string{"I-D", "I-E", "II-D", "II-E", "II-F"}
)

// typeClasses are those that a tool of the kind may have, in order: a multiplier, and
// a tool of which nobody said what it is, those of all torque tools.
func typeClasses(kind ToolKind) []string {
	switch kind {
	case ToolTorqueWrench:
		return wrenchClasses
	case ToolTorqueScrewdriver:
		return screwdriverClasses
	default: // the others go on below
	}
	return slices.Sorted(slices.Values(slices.Concat(wrenchClasses, screwdriverClasses)))
}

// typeClass checks that the class is one that its type has for tools of the kind, and
// that the tool is one that measures torque: for others the standard has no limit.
func (c *checks) typeClass(t Tool) {
	const field = "type_class"
	if t.TypeClass == "" {
		return
	}
	kind, known := ToolKinds.Name(t.Kind), ToolKinds.Known(t.Kind)
	if known && !t.Kind.MeasuresTorque() {
		c.add(field, "%s has no type and class of ISO 6789-1:2017; expected nothing, or one of the torque tools as its kind", withArticle(kind))
		return
	}
	expected := typeClasses(t.Kind)
	if slices.Contains(expected, t.TypeClass) {
		return
	}
	of := ""
	if t.Kind == ToolTorqueWrench || t.Kind == ToolTorqueScrewdriver {
		of = " of " + withArticle(kind)
	}
	prefix, _, _ := strings.Cut(t.TypeClass, "-")
	own := slices.DeleteFunc(slices.Clone(expected), func(class string) bool { return !strings.HasPrefix(class, prefix+"-") })
	word := map[string]string{"I": "type I, indicating", "II": "type II, setting"}[prefix]
	if len(own) == 0 || word == "" {
		c.add(field, "%q is not a type and class%s in ISO 6789-1:2017; expected one of %s", t.TypeClass, of, strings.Join(expected, ", "))
		return
	}
	c.add(field, "%q is not a type and class%s in ISO 6789-1:2017; expected one of %s: %s, has no other class%s", t.TypeClass, of, strings.Join(own, ", "), word, of)
}

// withArticle is a word with its indefinite article.
func withArticle(word string) string {
	if strings.ContainsRune("aeiou", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}
