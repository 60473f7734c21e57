package analysis

import (
	"time"

	"jointledger/internal/ledger"
)

// TrackedQuery says which tools are asked for, and as of when. Different parts
// must all match; empty ones match everything.
type TrackedQuery struct {
	// AsOf is the moment looked from; nothing that happened later counts.
	AsOf time.Time
	// Sites are codes of home sites.
	Sites []string
	// Visiting adds to Sites the tools of other homes that were last said to be at
	// one of them; nothing without Sites.
	Visiting bool
	// Holder is the person who has the tool.
	Holder string
	// Kinds are kinds of tools.
	Kinds []ledger.ToolKind
	// Serials are those of single tools.
	Serials []string
	// Lent leaves out tools that nobody has.
	Lent bool
}
