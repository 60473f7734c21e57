// Package storetest gives tests a store to work on: the engines that every
// store test runs on, a small fleet, and records with sound defaults.
package storetest
