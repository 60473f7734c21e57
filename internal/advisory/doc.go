// Command advisory says which known vulnerabilities the code of this module
// reaches, from advisories that come with Go's module proxy and no other place.
//
// They are the files of the module golang.org/x/vulndb, as old as the version that
// internal/tools/vulnerability.mod asks for; govulncheck (golang.org/x/vuln) reads
// them as a folder.
package main
