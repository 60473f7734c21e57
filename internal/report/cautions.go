package report

// Cautions are what no record can answer for, in short (custom of the trade, no
// source), the one that governs all first.
func Cautions() []string {
	return []string{
		"The equipment maker's manual, the drawings, local codes and permits, and the decision of the licensed engineer and of the competent or qualified person on site come before anything that is written here.",
		"A torque reading is not proof of clamp load: friction decides. Lubricant, plating or reuse changes what a torque means; a value for dry threads never goes on lubricated ones, nor the reverse.",
		"A stainless fastener that bound was not to be forced, and its torque does not count.",
		"A tool that is past due, dropped or unproven: stop, tag it, and trace back what it was used on. Expired compound or sealant likewise.",
		"Nothing here is a permit: not for work at height, lifting, confined space or hot work. Isolate and lock out fans, motors and hot water before entry.",
		"Solvent vapour is flammable and heavier than air: ventilate, and keep ignition away.",
	}
}
