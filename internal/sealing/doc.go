// Package sealing tells whether a joint can be sealed now and in the coming
// hours: the dew point of the air, the margin of the surface over it, and the
// temperature limits of sealants.
//
// The dew point comes from the Magnus formula, whose coefficients exist in
// several published sets; a record names the set it was computed with. The
// limits are customs of the trade and yield to the sealant maker's data sheet.
package sealing
