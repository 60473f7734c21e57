// Command entry times an entry of trackctl with no signal, from the start of the
// process until the entry is durable, against an empty Go program that flushes one
// small file, in turns in one run.
//
//	go run ./internal/bench/entry                 the demo's site, the medians of 50 and their ratio
//	go run ./internal/bench/entry -runs 200
//
// It builds the programs, fills a server with the demo, carries one of its sites,
// stops the server, and enters tightenings. Once the server was found not to answer,
// entries do not ask for it for a while; that is how most entries of a shift are.
package main
