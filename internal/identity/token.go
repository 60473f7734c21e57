package identity

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"strings"

	"jointledger/internal/store"
)

// A bearer token is `jl_ID_SECRET`: a beginning by which scanners of repositories and
// logs can find one that got there, the id of its credential, under which the digest is
// looked up, and 256 random bits.
const (
	tokenMark    = "jl_"
	idLength     = 12 // 60 bits: never given twice
	secretLength = 52 // 256 bits in base 32
)

// base32Text has small letters and digits only, so that a token is one word to a mouse
// and to a shell (alphabet "base32hex", RFC 4648, section 7, in small letters).
var base32Text = base32.NewEncoding("0123456789abcdefghijklmnopqrstuv").WithPadding(base32.NoPadding)

// NewID gives the id of a new credential.
func NewID() string {
	var b [8]byte
	rand.Read(b[:]) // it never fails (crypto/rand)
	return base32Text.EncodeToString(b[:])[:idLength]
}

// NewToken gives a bearer token, to be shown once, and what is kept of it.
func NewToken(principal string) (token string, c store.Credential) {
	var secret [32]byte
	rand.Read(secret[:]) // it never fails (crypto/rand)
	text := base32Text.EncodeToString(secret[:])
	digest := sha256.Sum256([]byte(text))
	c = store.Credential{ID: NewID(), Principal: principal, Kind: store.BearerToken, Digest: digest[:]}
	return tokenMark + c.ID + "_" + text, c
}

// isOurs says whether a token is one of this system's, by how it begins.
func isOurs(token string) bool { return strings.HasPrefix(token, tokenMark) }

// parseToken parts a token into the id and the secret; false when it can't be one.
func parseToken(token string) (id, secret string, ok bool) {
	rest, found := strings.CutPrefix(token, tokenMark)
	if !found || len(rest) != idLength+1+secretLength || rest[idLength] != '_' {
		return "", "", false
	}
	id, secret = rest[:idLength], rest[idLength+1:]
	plain := func(s string) bool {
		return !strings.ContainsFunc(s, func(r rune) bool { return (r < '0' || r > '9') && (r < 'a' || r > 'v') })
	}
	if !plain(id) || !plain(secret) {
		return "", "", false
	}
	return id, secret, true
}
