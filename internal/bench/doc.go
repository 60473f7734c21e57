// Command bench measures what the server reaches against the limits of the
// machine, all in one run: acknowledged records per second against the plain
// driver inserting the same rows with the same indexes and durability, and
// against an empty call.
//
//	make bench                            both engines, a table
//	make bench BENCH="-json bench.json"   the same figures as JSON besides
//	make bench BENCH="-engines sqlite -seconds 10"
//	make bench BENCH="-what due"          what falls due among 100,000 tools, against a
//	                                      plain query of each with its newest calibration
//
// Figures of different runs or machines are not comparable; the ratios are.
package main
