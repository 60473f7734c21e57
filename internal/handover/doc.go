// Package handover says what keeps a place from being handed over: it compares
// what is on record about each joint with what a complete record needs, and
// names in plain sentences what is missing.
package handover
