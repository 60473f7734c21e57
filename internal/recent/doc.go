// Package recent remembers what was used lately, a bounded number of entries. Keys and
// values that hold no pointers cost the garbage collector nothing, however many there
// are, and less memory than a list with an entry for each.
package recent
