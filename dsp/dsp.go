// Package dsp holds the contract that every streaming processor below it keeps.
//
// The packages below import nothing of this project but each other, no net, no
// os, and never ask for the time: the sample index is their clock. Values are
// float64 in SI units: volts, seconds, hertz.
package dsp

// Stream is a processor that gives one output sample for each input sample.
//
// Calls on pieces equal one call on the whole, bit for bit. dst and src have
// the same length, or Process panics; they are one slice or disjoint; neither
// is kept. Process allocates nothing. The first sample after New or Reset is
// taken as if it had stood since ever (steady state), so that an offset makes
// no step. A NaN or an infinity in src is an error of the caller's: cut the
// signal there and Reset. Not safe for concurrent use.
type Stream interface {
	Process(dst, src []float64)
	Reset()
}
