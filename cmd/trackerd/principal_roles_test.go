package main

import (
	"strings"
	"testing"
)

// The guide's table of roles is what the server holds to.
func TestTheRolesInTheGuideAreTrue(t *testing.T) {
	code, table, stderr := trackerd(t, "principal", "roles")
	if code != 0 || strings.Count(table, "\n") < 20 || !strings.Contains(table, "| say who may do what | | | | | | yes | |\n") {
		t.Fatalf("status %d; %s%s", code, table, stderr)
	}
	if !strings.Contains(readText(t, guide), table) {
		t.Errorf("%s has another table of roles; put in what `trackerd principal roles` prints:\n%s", guide, table)
	}
}
