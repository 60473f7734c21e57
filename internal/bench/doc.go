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
//	make bench BENCH="-what report"       all analyses of the manager's report over 200 sites
//	                                      and 10 million fastener attempts: seconds together and
//	                                      each, against a bare sum over the tallies
//	make bench BENCH="-what carry"        the data that a device carries of a site of 20,000
//	                                      joints: read on the server, and opened on the device
//	                                      with one entry judged, against reading the file
//
// Figures of different runs or machines are not comparable; the ratios are.
package main
