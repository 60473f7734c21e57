// Faults breaks trackerd and trackctl on purpose, with the programs themselves and
// without a look into them, and then checks that every acknowledged record is there
// once: see docs/faults.md.
package main
