package analysis

import (
	"strings"
	"unicode"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// CertificateKey is the number of a certificate, or the name of a laboratory, as it
// is compared: without spaces and what is not seen, without regard to capitals, of any
// script, to the length of a dash and to full width. So `FM-118`, `fm -118` and, copied
// from a document, `FM–118` are one. Empty when nothing but spaces is given.
func CertificateKey(text string) string {
	return strings.Map(func(r rune) rune {
		const full = '！' - '!' // from a character of full width to the plain one
		switch {
		case unicode.IsSpace(r), unicode.Is(unicode.Cf, r):
			return -1
		case unicode.Is(unicode.Pd, r), r == '−':
			return '-'
		case r >= '！' && r <= '～':
			r -= full
		}
		// The least of all the forms of a letter stands for them (Unicode, simple case
		// folding).
		least := r
		for f := unicode.SimpleFold(r); f != r; f = unicode.SimpleFold(f) {
			least = min(least, f)
		}
		return least
	}, text)
}

// CertificateTaken is what is wrong with a calibration whose certificate another comes
// with already.
func CertificateTaken(c *ledger.Calibration, other uuid.UUID) ledger.FieldError {
	of := ""
	if c.Laboratory != "" {
		of = " of " + strings.TrimSpace(c.Laboratory)
	}
	return ledger.FieldError{Field: "certificate", Description: "certificate " + strings.TrimSpace(c.Certificate) + of +
		" is that of " + ledger.RecordName(ledger.KindCalibration, other) + " too; expected one certificate a calibration, or a correction of the other"}
}

// SameCertificate says whether two calibrations come with one certificate: the same
// number of the same laboratory. Where a laboratory is not given, nobody can tell but
// for the same tool. Without a number there is no certificate to speak of.
func SameCertificate(a, b *ledger.Calibration) bool {
	number := CertificateKey(a.Certificate)
	if number == "" || number != CertificateKey(b.Certificate) {
		return false
	}
	one, other := CertificateKey(a.Laboratory), CertificateKey(b.Laboratory)
	if one == "" || other == "" {
		return a.Tool == b.Tool
	}
	return one == other
}
