// Package pack keeps the carried data of a site in one file of the device, and
// answers from it what the rules of the trade and a person at work want to know.
package pack
