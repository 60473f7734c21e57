// Package section writes and reads the named parts that carried data consist of.
package section
