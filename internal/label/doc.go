// Package label makes and reads the short codes that stand on labels: the name of
// a place, lot or tool with a check character, so that a mistyped name is known
// for one before it is sent anywhere.
package label
