package ledger

import "slices"

// reservedPrincipals are the names under which the server speaks of callers that are
// registered nowhere: whoever calls a server that asks nobody, and who shows the token
// of its file.
var reservedPrincipals = []string{"local", "bearer"}

// CheckPrincipal gives every field that is wrong with the name and the description of
// who calls: a person, a device or a program.
func CheckPrincipal(name, description string) []FieldError {
	var c checks
	c.id("name", name, checkCode(name))
	if slices.Contains(reservedPrincipals, name) {
		c.add("name", "%q is the server's own word; choose another name", name)
	}
	c.text("description", description, 200, false)
	return c.fields
}

// CheckCredentialSubject says what is wrong with the name in a certificate, or with the
// issuer and subject of a token.
func CheckCredentialSubject(subject string) []FieldError {
	var c checks
	c.text("subject", subject, 512, true)
	return c.fields
}

// CheckRegion says what is wrong with the name of a region.
func CheckRegion(region string) []FieldError {
	var c checks
	c.text("region", region, 64, true)
	return c.fields
}
