// Package figure holds the figures of the quality report, plain values with the
// words that belong to them, and draws them as SVG: in black, grey and white, told
// apart by shape and line style, with a text and a table that say the same.
package figure
