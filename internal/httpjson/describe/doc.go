// Command describe is a plugin of protoc and buf that writes the description of the API
// in OpenAPI 3.1, as package httpjson serves it.
package main
