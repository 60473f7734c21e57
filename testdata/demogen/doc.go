// Command demogen writes the demonstration scenario: a folder of CSV files in
// the project's import format, drawn from an invented erection season whose
// truth is known and stands in scenario.go.
//
//	go run ./testdata/demogen -out testdata/demo
//
// The same program and the same seed give the same files, byte for byte: the
// draws come from named streams (draw.go), no map is walked to make output and
// no clock is read. Products that feed a sum are rounded on their own
// (float64(a*b) + c), so that a machine with fused multiply-add writes the same
// digits.
//
// Everything is built from the joints up. A joint gets its lots from the order
// in which its site unpacks them (plan.go); crews work through their cells day
// by day, with the tools they hold and in the weather there is (work.go,
// weather.go, tools.go); every fastener is an attempt that may fail
// (failures.go); audits, leak tests and re-tightenings look back at what was
// built (inspect.go); deliveries are then what the work needed (stock.go).
package main
