package ledger

// ConsumableKind says what a consumable is.
type ConsumableKind uint8

// Consumable kinds.
const (
	ConsumableAntiSeize ConsumableKind = iota + 1
	ConsumableThreadLocking
	ConsumableStripSealant
	ConsumableGunGradeSealant
	ConsumableSolvent
	ConsumableLubricant
)

// ConsumableKinds are the words of ConsumableKind.
var ConsumableKinds = Words[ConsumableKind]{
	what:  "consumable kind",
	names: []string{"anti-seize", "thread-locking-compound", "strip-sealant", "gun-grade-sealant", "solvent", "lubricant"},
}

// Batch is one batch of a consumable, with its shelf life and limits of use.
type Batch struct {
	Number     string
	Kind       ConsumableKind
	Product    string
	ExpireDate string // YYYY-MM-DD, the last day of its shelf life; empty for none
	// MinimumCelsius and MaximumCelsius are the maker's limits of application;
	// nil when not given.
	MinimumCelsius, MaximumCelsius *float64
	Revision
}

// Substitution permits another fastener than a specification's, and says what
// it needs besides.
type Substitution struct {
	Code          string
	Specification string // code
	Permitted     Fastener
	// Needs says what else is needed, such as washers.
	Needs string
	// TorqueNewtonMetres replaces the specification's torque; 0 keeps it.
	TorqueNewtonMetres float64
	ApprovedBy         string
	Revision
}

// Validate gives every field that is wrong.
func (b Batch) Validate() []FieldError {
	var c checks
	c.id("name", b.Number, checkCode(b.Number))
	word(&c, "kind", ConsumableKinds, b.Kind, true)
	c.text("product", b.Product, 100, false)
	c.date("expire_date", b.ExpireDate)
	if b.MinimumCelsius != nil {
		c.number("minimum_celsius", *b.MinimumCelsius, -60, 200, " °C")
	}
	if b.MaximumCelsius != nil {
		c.number("maximum_celsius", *b.MaximumCelsius, -60, 200, " °C")
	}
	if b.MinimumCelsius != nil && b.MaximumCelsius != nil && *b.MaximumCelsius < *b.MinimumCelsius {
		c.add("maximum_celsius", "%v °C is below the minimum %v °C", *b.MaximumCelsius, *b.MinimumCelsius)
	}
	return c.fields
}

// Validate gives every field that is wrong.
func (s Substitution) Validate() []FieldError {
	var c checks
	c.id("name", s.Code, checkCode(s.Code))
	c.id("specification", s.Specification, checkCode(s.Specification))
	c.fastener("permitted.", s.Permitted)
	c.text("needs", s.Needs, 200, false)
	c.number("torque_newton_metres", s.TorqueNewtonMetres, 0, maxTorque, " N.m")
	c.text("approved_by", s.ApprovedBy, 100, true)
	return c.fields
}
