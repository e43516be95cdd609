package channel

import (
	"slices"

	"pulsewright/acquire"
	"pulsewright/dsp/signalpath"
)

// Change is how values in an old scale become those in a new one: times Factor, plus Shift as far as an [Offset] came through
// when they were made.
type Change struct{ Factor, Shift float64 }

// ChangeOf is the change from the settings old to s.
func (s Settings) ChangeOf(c acquire.Channel, old Settings) Change {
	from, to := old.Linear(c), s.Linear(c)
	if from.Factor == 0 {
		return Change{Factor: 1}
	}
	factor := to.Factor / from.Factor
	return Change{Factor: factor, Shift: to.Offset - from.Offset*factor}
}

// Offset tells which share of an offset in the scale came out at each point: a path of its own takes a constant 1
// as the channel's took the signal. With drift off that is all of it, with drift on nothing, and for a moment after a change
// something between. Where a coupling is undone it is nothing, nor is it at the point of the beats.
type Offset struct {
	settings Settings
	rateHz   float64 // of the points
	path     *signalpath.Path
	shares   [Points][]float64
}

// NewOffset follows a channel from settings on that hold at a rate of points.
func NewOffset(s Settings, rateHz float64) *Offset {
	o := &Offset{settings: s, rateHz: rateHz}
	o.begin()
	return o
}

func (o *Offset) begin() {
	path, err := pathAt(constant(o.settings.Path), o.rateHz)
	if err != nil { // the engine has none either
		path, _ = pathAt(signalpath.Settings{}, o.rateHz)
	}
	o.path = path
}

// constant are the settings of a path that does the same to a constant: a canceller lets it through.
func constant(s signalpath.Settings) signalpath.Settings {
	if s.Hum.Mode == signalpath.Cancel {
		s.Hum = signalpath.Hum{}
	}
	return s
}

// Set takes over settings as [Engine.Set] does.
func (o *Offset) Set(s Settings) {
	old := o.settings
	o.settings = s
	if !old.alike(s) || !slow(o.rateHz) && o.path.Set(constant(s.Path)) != nil {
		o.begin()
	}
}

// Reset is as after a gap.
func (o *Offset) Reset() { o.path.Reset() }

// Next are the shares at each point of the next n values, valid until it is called again.
func (o *Offset) Next(n int) *[Points][]float64 {
	for p := range o.shares {
		o.shares[p] = slices.Grow(o.shares[p][:0], n)[:n]
		clear(o.shares[p])
	}
	if o.settings.Scale.CouplingHz != 0 {
		return &o.shares
	}
	for i := range o.shares[PointScale] {
		o.shares[PointScale][i] = 1
	}
	o.path.Process((*[signalpath.Points][]float64)(o.shares[:]), o.shares[PointScale])
	return &o.shares
}
