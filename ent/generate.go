// Package ent is generated from the schema; only ent/schema and ent/column are
// written by hand.
package ent

//go:generate go tool ent generate --feature sql/versioned-migration,sql/execquery,sql/lock ./schema
