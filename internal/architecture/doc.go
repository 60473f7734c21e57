// Package architecture holds no code: its test says who may import whom.
package architecture
