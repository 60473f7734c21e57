// Package service answers the API's methods: it converts between the API and the
// domain, asks whether the caller may, and calls the store. Proto types end
// here.
//
// One file per resource holds its methods; the conversions of a resource stand
// in a file of their own beside it. What all resources have in common is
// written once: thing.go for what is registered and changed, record.go for what
// is only ever added, list.go for paging.
package service
