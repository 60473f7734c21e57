package identity

import (
	"crypto/sha256"
	"strings"
	"testing"

	"jointledger/internal/store"
)

// FuzzParseToken: a token is parted so that its parts make it again, and nothing else is
// a token; one that was given always is.
func FuzzParseToken(f *testing.F) {
	whole := tokenMark + strings.Repeat("a", idLength) + "_" + strings.Repeat("0", secretLength)
	for _, text := range []string{whole, whole[:len(whole)-1], whole + "0", strings.ToUpper(whole), strings.Replace(whole, "a_0", "_a0", 1), strings.Replace(whole, "a0", "\u00e9", 1), "jl_", "", "Bearer " + whole, whole + "\n", "\xff"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		id, secret, ok := parseToken(text)
		switch {
		case !ok && (id != "" || secret != ""):
			t.Errorf("%q is refused, and parted into %q and %q", text, id, secret)
		case ok && (tokenMark+id+"_"+secret != text || !isOurs(text) || strings.ContainsAny(id+secret, "_ \n/")):
			t.Errorf("%q is parted into %q and %q", text, id, secret)
		}
		token, c := NewToken(text)
		id, secret, ok = parseToken(token)
		if sum := sha256.Sum256([]byte(secret)); !ok || id != c.ID || string(sum[:]) != string(c.Digest) || c.Kind != store.BearerToken || c.Principal != text {
			t.Errorf("the token of %q is parted into %q", text, id)
		}
	})
}
