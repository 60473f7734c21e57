// Package identity says which principal a call is of: by a bearer token, by the
// certificate of its connection, or by a token of an issuer of OpenID Connect.
package identity
