package rpc

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"jointledger/internal/ledger"
)

// pageTokenVersion is the first byte of a token. A change of what a token means
// takes the next number, so that one from an older server is refused rather than
// misread.
const pageTokenVersion = 1

// pageTokenSum is the length of the sum in a token, bytes.
const pageTokenSum = 16

// PageToken makes the token of the page after the given key, for the same list
// request as this one (AIP-158). It is opaque to clients: version, a sum over
// the request without its page fields and the key, the key. Empty for an empty
// key, which ends a list.
func PageToken(request proto.Message, after string) string {
	if after == "" {
		return ""
	}
	sum := pageSum(request, after)
	raw := append([]byte{pageTokenVersion}, sum[:]...)
	return base64.RawURLEncoding.EncodeToString(append(raw, after...))
}

// PageAfter reads the key out of the token that a list request carries; empty
// for the first page. Errors: KindInvalid with ReasonPageTokenInvalid for a
// token that is damaged, or was made for another request.
func PageAfter(request proto.Message, token string) (string, error) {
	if token == "" {
		return "", nil
	}
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil || len(raw) <= 1+pageTokenSum || raw[0] != pageTokenVersion {
		return "", badPageToken("is not one that this server made")
	}
	after := string(raw[1+pageTokenSum:])
	if sum := pageSum(request, after); subtle.ConstantTimeCompare(sum[:], raw[1:1+pageTokenSum]) != 1 {
		return "", badPageToken("is damaged, or belongs to a request with other fields; start again with the first page")
	}
	return after, nil
}

func badPageToken(description string) error {
	return &ledger.Error{
		Kind: ledger.KindInvalid, Reason: ledger.ReasonPageTokenInvalid, Message: "the page token " + description,
		Fields: []ledger.FieldError{{Field: "page_token", Description: description}},
	}
}

// pageSum binds a key to its request. Each list method has a request message of
// its own, so the message's name stands for the method. page_size may change
// from page to page.
func pageSum(request proto.Message, after string) [pageTokenSum]byte {
	bare := proto.Clone(request).ProtoReflect()
	for _, name := range []protoreflect.Name{"page_size", "page_token"} {
		if f := bare.Descriptor().Fields().ByName(name); f != nil {
			bare.Clear(f)
		}
	}
	// A message without page fields that can't be marshalled was never received.
	filter, _ := proto.MarshalOptions{Deterministic: true}.Marshal(bare.Interface())
	h := sha256.New()
	for _, part := range []string{string(bare.Descriptor().FullName()), "\n", string(filter), "\n", after} {
		h.Write([]byte(part))
	}
	var sum [pageTokenSum]byte
	copy(sum[:], h.Sum(nil))
	return sum
}
