// Package beat finds heartbeats in a stream of samples and says how far they
// can be trusted.
//
// Detectors are causal: what they report for a file is what they report live.
// A Beat carries the input sample index of the event with all delay removed;
// LatencySamples says how much later it may come. The input may be raw (scaled,
// unfiltered, in any unit): each detector carries its own band-pass.
package beat

// Kind is the sort of signal a detector is for.
type Kind string

const (
	ECG   Kind = "ecg"
	Pulse Kind = "pulse"
)

// Beat is one heartbeat.
type Beat struct {
	// Sample is the index of the R peak (ECG) or of the pulse's systolic peak,
	// counted from the first sample after New or Reset.
	Sample int64 `json:"sample"`
	// Foot is the index of the foot before a pulse; equal to Sample for an ECG.
	Foot int64 `json:"foot"`
	Kind Kind  `json:"kind"`
	// Amplitude is the R peak's height over its baseline (signed: negative for an
	// inverted one), or the pulse's height from foot to peak, in the input's unit.
	Amplitude float64 `json:"amplitude"`
	// Quality from 0 to 1: how much the beat looks like its neighbours and how
	// clean the signal around it is.
	Quality float64 `json:"quality"`
}

// Detector finds beats in a stream.
//
// Process appends to dst the beats that have become certain, in order of
// Sample, and returns it. Calls on pieces give the same beats as one call on the
// whole. It allocates nothing but to grow dst. Inputs must be finite. Reset
// forgets everything and counts samples from 0 again: the caller does so after a
// gap and keeps the offset.
type Detector interface {
	Process(dst []Beat, src []float64) []Beat
	Reset()
	// LatencySamples is the longest delay from a beat's Sample to the input
	// sample that reports it in steady rhythm (search-back may take longer).
	LatencySamples() int
}
