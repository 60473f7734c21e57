// Package fleetgen draws a large invented fleet as a stream of rows, so that
// benchmarks and stress tests can feed millions of records that look like field
// work: each lot at few sites on few days, crews that use one or two tools a day
// and do one kind of joint at a time.
//
// The stream is a pure function of its configuration: the same configuration
// gives the same rows. Memory grows with the number of crews, never with the
// number of rows, since every crew's day is drawn afresh from its own seed.
//
// The demonstration scenario (testdata/demogen) has calendars, weather and
// custody and a few hundred joints; it shares nothing with this package, whose
// days must be cheap.
package fleetgen
