// Package access says who may do what: a principal, what it wants to do, and a
// table of role by action.
package access
