// Package openapi holds the description of the API in OpenAPI 3.1, made from its
// definition.
package openapi

import _ "embed"

// Document is the description, as JSON.
//
//go:embed openapi.json
var Document []byte
