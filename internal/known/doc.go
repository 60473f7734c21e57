// Package known turns what is known of joints, lots, tools and people at a moment
// into the facts that the rules of the trade read about a record.
package known
