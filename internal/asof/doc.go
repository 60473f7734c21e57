// Package asof says how old the state of the record may be from which a caller's
// answer comes, and tells of which moment it was.
package asof
