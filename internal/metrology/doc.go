// Package metrology judges hand torque tools: what a tool of its type and
// class may deviate (ISO 6789-1), whether the readings of a calibration
// conform under a declared decision rule (JCGM 106), and when the tool falls
// due again.
//
// Measurement lies under every other question of the trade, so the package
// also holds the three small types with which the trade's packages state
// their figures: Source (where a published value comes from and how far it was
// checked), RangeError (a value outside what is allowed) and Caution.
//
// The package is pure: it reads no clock, no file and no network.
package metrology
