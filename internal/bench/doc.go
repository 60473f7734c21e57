// Command bench measures what the server and the client reach against the limits of the
// machine, all in one run; docs/speed.md says what is measured, and how to read it.
//
//	make bench                            everything: a table, and bench.json
//	make bench BENCH="-what writes -engines sqlite -seconds 10"
//	make bench BENCH="-attempts 10000,1000000 -records 1000000 -import 100000"   a smaller run
//	make bench BENCH="-what memory -large /var/tmp/large"   keeps the large database
//	make bench BENCH="-what rules"        what the rules and an alarm rule cost
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
