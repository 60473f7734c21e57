package wire

import (
	"encoding/base64"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
)

// EtagOf makes the etag of a version (AIP-154); empty for 0, a thing that is not
// kept.
func EtagOf(version int) string {
	if version == 0 {
		return ""
	}
	return base64.RawURLEncoding.EncodeToString([]byte("v" + strconv.Itoa(version)))
}

// VersionOf reads an etag: 0, for any version, when it is empty. An etag that
// this server never made is not the current one, and is refused as such.
func VersionOf(etag, what, resource string) (int, error) {
	if etag == "" {
		return 0, nil
	}
	if raw, err := base64.RawURLEncoding.DecodeString(etag); err == nil {
		if digits, ok := strings.CutPrefix(string(raw), "v"); ok {
			if version, err := strconv.Atoi(digits); err == nil && version > 0 && EtagOf(version) == etag {
				return version, nil
			}
		}
	}
	return 0, &ledger.Error{
		Kind: ledger.KindConflict, Reason: ledger.ReasonEtagMismatch, Resource: resource,
		Message: "the etag is not one that this server gave for a " + what + "; read it again",
	}
}
