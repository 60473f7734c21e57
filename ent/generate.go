// Package ent is generated from the schema; only ent/schema and ent/column are
// written by hand.
package ent

//go:generate go run jointledger/internal/store/entgen
