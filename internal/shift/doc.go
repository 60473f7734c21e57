// Package shift is the guided mode on the terminal: the joints of a cell that are
// left, an entry at each key, and what was found on it, without knowing where the
// joints come from or how entries are kept and sent.
package shift
