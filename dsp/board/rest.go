package board

import (
	"math"
	"math/cmplx"
)

// saturationVolts is what a phototransistor or a diode keeps from the rail towards which
// light drives it (common practice).
const saturationVolts = 0.3

// rest solves the circuit without signal: volts of every node, the supply, the light and
// the op amps' bias currents taken in.
func (k *circuit) rest() []complex128 {
	s := newSolver(k)
	if !s.set(k, 0) {
		return make([]complex128, k.size)
	}
	x := make([]complex128, k.size)
	for _, v := range k.sources {
		x[v.branch] += complex(v.volts, 0)
	}
	for _, i := range k.flows {
		if i.a != ground {
			x[i.a-1] -= complex(i.amps, 0)
		}
		if i.b != ground {
			x[i.b-1] += complex(i.amps, 0)
		}
	}
	s.solve(x)
	return x
}

// output is a node that clips.
type output struct {
	stage     int
	node      int
	low, high float64
}

// outputs are the op amps' and the light sensor's.
func (b *Board) outputs(k *circuit) []output {
	var all []output
	if kind := b.Stages[0].Kind; kind == phototransistor || kind == photodiode {
		o := output{0, k.ports[0].plus, 0, b.SupplyVolts - saturationVolts}
		if b.Stages[0].PullUp {
			o.low, o.high = saturationVolts, b.SupplyVolts
		}
		all = append(all, o)
	}
	for _, a := range k.amplifiers {
		if a.stage >= 0 {
			all = append(all, output{a.stage, a.out, a.limits.ToLowVolts, b.SupplyVolts - a.limits.ToHighVolts})
		}
	}
	return all
}

// strongest is the largest gain within the band from vin to a node.
func (b *Board) strongest(k *circuit, s *solver, node int) float64 {
	low, high := b.Band()
	most := 0.0
	for _, hz := range Grid(low, high, 8) {
		s.set(k, complex(0, 2*math.Pi*hz))
		x := s.unit(k.vin)
		s.solve(x)
		most = math.Max(most, cmplx.Abs(at(x, node)))
	}
	return most
}

// rooms fills in where every output rests and clips, and the span.
func (b *Board) rooms(k *circuit, f *Figures) {
	x := k.rest()
	s := newSolver(k)
	room := func(o output) Room {
		r := Room{RestVolts: real(at(x, o.node)), LowVolts: o.low, HighVolts: o.high, Gain: b.strongest(k, s, o.node)}
		r.SpreadVolts = k.offsets(s, o.node)
		r.InputVolts = math.Max(0, math.Min(r.RestVolts-r.LowVolts, r.HighVolts-r.RestVolts)/math.Max(r.Gain, 1e-12))
		return r
	}
	for i := range f.Stages { // without an output of its own a stage has the supply's room
		f.Stages[i].Room = room(output{i, k.ports[i].plus, 0, b.SupplyVolts})
	}
	last := output{-1, k.out, 0, b.SupplyVolts}
	if c := b.Converter; c != nil {
		last.high = c.ReferenceVolts
	}
	end := room(last)
	outGain := math.Max(end.Gain, 1e-12)
	f.Span = Span{end.LowVolts, end.RestVolts, end.HighVolts, -1, end.InputVolts}
	seen := map[int]bool{}
	for _, o := range b.outputs(k) {
		r := room(o)
		if !seen[o.stage] || r.InputVolts < f.Stages[o.stage].Room.InputVolts {
			f.Stages[o.stage].Room = r
		}
		seen[o.stage] = true
		if r.InputVolts < f.Span.InputVolts {
			f.Span.InputVolts, f.Span.ClipsFirst = r.InputVolts, o.stage
		}
		// What it allows, carried to the output; a stage that turns the signal over
		// changes up and down.
		up, down := (r.HighVolts-r.RestVolts)*outGain/math.Max(r.Gain, 1e-12), (r.RestVolts-r.LowVolts)*outGain/math.Max(r.Gain, 1e-12)
		if k.turned(s, b, o.node) {
			up, down = down, up
		}
		f.Span.HighVolts = math.Min(f.Span.HighVolts, f.Span.RestVolts+math.Max(up, 0))
		f.Span.LowVolts = math.Max(f.Span.LowVolts, f.Span.RestVolts-math.Max(down, 0))
	}
}

// turned tells that the output moves against the node in the middle of the band.
func (k *circuit) turned(s *solver, b *Board, node int) bool {
	low, high := b.Band()
	s.set(k, complex(0, 2*math.Pi*math.Sqrt(low*high)))
	x := s.unit(k.vin)
	s.solve(x)
	return real(at(x, k.out)*cmplx.Conj(at(x, node))) < 0
}

// offsets is how far all op amps' offsets together can move a node at rest.
func (k *circuit) offsets(s *solver, node int) float64 {
	if !s.set(k, 0) {
		return 0
	}
	y := s.unit(node - 1)
	s.solveTransposed(y)
	sum := 0.0
	for _, a := range k.amplifiers {
		sum += a.limits.OffsetVolts * cmplx.Abs(y[a.branch])
	}
	return sum
}

// checkStable refuses a circuit that swings by itself.
func (b *Board) checkStable() error {
	k := b.build(b.Components(), nil)
	for _, p := range k.poles() {
		if real(p) > 1e-9*cmplx.Abs(p) {
			return &UnstableError{Hz: cmplx.Abs(p) / (2 * math.Pi)}
		}
	}
	return nil
}
