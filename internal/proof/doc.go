// Package proof writes a site's chain as lines of text and proves them again, link
// by link, with neither a server nor a database.
package proof
