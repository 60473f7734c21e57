// Package terminal is a terminal for tests: a program runs in a real
// pseudo-terminal, and the test reads what a person would see and presses keys.
package terminal
