// Command trackerd is the server: it keeps the record in an embedded database or
// in PostgreSQL and answers the API. Here are flags and wiring only.
package main
