package access

import "fmt"

// Role is what somebody, or something, does here; the table says what it may.
type Role uint8

// Roles. Their numbers are kept and never used again for another.
const (
	Technician Role = iota + 1
	Crib
	SiteLead
	Quality
	RegionalManager
	Administrator
	Integration
)

var roleWords = map[Role]string{
	Technician: "technician", Crib: "crib", SiteLead: "site-lead", Quality: "quality",
	RegionalManager: "regional-manager", Administrator: "administrator", Integration: "integration",
}

// Roles gives every role.
func Roles() []Role {
	return []Role{Technician, Crib, SiteLead, Quality, RegionalManager, Administrator, Integration}
}

// String is the role's word; the number of one that is none.
func (r Role) String() string {
	if w, ok := roleWords[r]; ok {
		return w
	}
	return fmt.Sprintf("role %d", uint8(r))
}

// ParseRole reads a role's word.
func ParseRole(word string) (Role, bool) {
	for r, w := range roleWords {
		if w == word {
			return r, true
		}
	}
	return 0, false
}

// reach is where a role may take an action.
type reach uint8

const (
	// nowhere is what is not in the table.
	nowhere reach = iota
	// granted is at the sites that the role was given for. What belongs to no site
	// (lots, tools, people, specifications, alarms) it may do where it has any.
	granted
)

// table is role by action: all that anybody may do. What is not in it is not
// allowed. A role that was given for everywhere reaches every site.
var table = map[Role]map[Action]reach{
	Technician: {
		Read: granted, RecordWork: granted, Inspect: granted, KeepTools: granted,
		Hold: granted, Correct: granted, Attach: granted, Deliver: granted,
	},
	Crib: {
		Read: granted, KeepTools: granted, Calibrate: granted, MoveLots: granted,
		Hold: granted, Correct: granted, Attach: granted, Deliver: granted,
		RegisterStock: granted,
	},
	SiteLead: {
		Read: granted, RecordWork: granted, Inspect: granted, KeepTools: granted, Calibrate: granted, MoveLots: granted,
		Hold: granted, Decide: granted, SignOff: granted, Correct: granted, Attach: granted, Deliver: granted,
		RegisterPlaces: granted, RegisterStock: granted, RegisterPeople: granted,
	},
	Quality: {
		Read: granted, RankPeople: granted, Inspect: granted, Calibrate: granted,
		Hold: granted, Decide: granted, SignOff: granted, Correct: granted, Attach: granted, Deliver: granted,
		RegisterStock: granted, RegisterSpecifications: granted, SetAlarms: granted,
	},
	RegionalManager: {
		Read: granted, RankPeople: granted,
		Hold: granted, Decide: granted, SignOff: granted, Attach: granted, Deliver: granted,
		SetAlarms: granted,
	},
	Administrator: {
		Read: granted, RankPeople: granted, RecordWork: granted, Inspect: granted, KeepTools: granted, Calibrate: granted, MoveLots: granted,
		Hold: granted, Decide: granted, SignOff: granted, Correct: granted, Attach: granted, Deliver: granted,
		RegisterPlaces: granted, RegisterSites: granted, RegisterStock: granted, RegisterSpecifications: granted, RegisterPeople: granted,
		SetAlarms: granted, Administer: granted,
	},
	// A program that carries records and registers from elsewhere: it decides
	// nothing.
	Integration: {
		Read: granted, RecordWork: granted, Inspect: granted, KeepTools: granted, Calibrate: granted, MoveLots: granted,
		Hold: granted, Correct: granted, Attach: granted, Deliver: granted,
		RegisterPlaces: granted, RegisterSites: granted, RegisterStock: granted, RegisterSpecifications: granted, RegisterPeople: granted,
	},
}

// RoleMay says whether the table allows a role an action at the sites that it was
// given for.
func RoleMay(r Role, a Action) bool { return table[r][a] != nowhere }
