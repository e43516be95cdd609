// Package signalpath continues a board's signal path in software:
// scale → drift → hum → smooth, with the signal at each point.
//
// Drift is a Butterworth high-pass, hum a row of notches or a canceller, smooth an
// RC or Butterworth low-pass; each may be off. Samples are in whatever unit scale
// gives, usually volts. Settings change while it runs without a click. A Path is
// not safe for concurrent use.
package signalpath

import (
	"fmt"

	"pulsewright/dsp/filter"
	"pulsewright/dsp/mains"
)

// Points of the path, where the signal can be looked at.
const (
	PointScale = iota
	PointDrift
	PointHum
	PointSmooth
	Points
)

// Path runs the stages. Make one with [New].
type Path struct {
	rateHz   float64
	settings Settings

	drift, hum, smooth *filter.Cascade
	finder             *finder

	// canceller works behind the then empty notches in mode cancel; else it is nil.
	canceller                      canceller
	lastUncancelled, lastCancelled float64
}

// canceller is what the path needs of [mains.Canceller].
type canceller interface {
	Process(dst, src []float64)
	Reset()
	Hold(samples int)
	FreqHz() float64
	Reason() string
}

// New makes a path for a sample rate of 25 to 192000 Hz. Zero orders, bandwidth
// and harmonics get the defaults named at [Settings]. A cutoff that does not suit
// the rate is an error that says which would.
func New(s Settings, rateHz float64) (*Path, error) {
	p := &Path{rateHz: rateHz}
	for _, c := range []**filter.Cascade{&p.drift, &p.hum, &p.smooth} {
		var err error
		if *c, err = filter.NewCascade(nil, rateHz); err != nil {
			return nil, fmt.Errorf("signal path: %w", err)
		}
	}
	p.finder = newFinder(rateHz)
	if err := p.Set(s); err != nil {
		return nil, err
	}
	return p, nil
}

// Process filters src and gives the signal at every point; out[PointScale] is a
// copy of src. Each out[i] has the length of src, or Process panics; they are
// disjoint, but out[PointScale] may be src. Pieces give the same as the whole, bit
// for bit. The first sample after New or Reset is taken as if it had stood for
// ever. It allocates nothing, but for a new design when the mains is found to be
// the other one.
func (p *Path) Process(out *[Points][]float64, src []float64) {
	for i := range out {
		if len(out[i]) != len(src) {
			panic(fmt.Sprintf("signal path: Process: out[%d] has %d samples, src %d; must be equal", i, len(out[i]), len(src)))
		}
	}
	copy(out[PointScale], src)
	p.drift.Process(out[PointDrift], src)
	p.processHum(out[PointHum], out[PointDrift])
	p.smooth.Process(out[PointSmooth], out[PointHum])
}

func (p *Path) automatic() bool { return p.settings.Hum.Mode == Notch && p.settings.Hum.FreqHz == 0 }

func (p *Path) processHum(dst, src []float64) {
	if p.canceller != nil && len(src) > 0 {
		p.hum.Process(dst, src)
		p.lastUncancelled = dst[len(dst)-1]
		p.canceller.Process(dst, dst)
		p.lastCancelled = dst[len(dst)-1]
		return
	}
	for p.automatic() && len(src) > 0 {
		n := min(len(src), p.finder.left())
		changed := p.finder.add(src[:n])
		p.hum.Process(dst[:n], src[:n])
		if changed {
			p.retune()
		}
		dst, src = dst[n:], src[n:]
	}
	p.hum.Process(dst, src)
}

// retune the notches to what the finder has found. The design was valid for 50 Hz
// and is so for 60 Hz, or falls away above half the rate.
func (p *Path) retune() {
	s, err := p.settings.Hum.sections(p.rateHz, p.HumHz())
	if err == nil {
		err = p.hum.Redesign(s)
	}
	if err != nil {
		panic(err)
	}
}

// Set changes the settings, also while the path runs: outputs go on from where
// they are, see [filter.Cascade.Redesign]. After an error the old settings hold.
// [Path.Settings] are those applied.
func (p *Path) Set(s Settings) error {
	if err := s.checkNumbers(); err != nil {
		return err
	}
	s = s.complete()
	drift, err := s.Drift.sections(p.rateHz)
	if err != nil {
		return err
	}
	if err := s.Hum.check(); err != nil {
		return err
	}
	// A canceller whose settings stay goes on with what it has learned.
	cancel := p.canceller
	if p.settings.Hum != s.Hum {
		cancel = nil
		if s.Hum.Mode == Cancel {
			cancel, err = mains.NewCanceller(mains.Config{RateHz: p.rateHz, NominalHz: s.Hum.FreqHz, Harmonics: s.Hum.Harmonics})
			if err != nil {
				return fmt.Errorf("signal path: hum: %w", err)
			}
		}
	}
	humHz := s.Hum.FreqHz
	if humHz == 0 {
		humHz = p.finder.hz
	}
	hum, err := s.Hum.sections(p.rateHz, humHz)
	if err != nil {
		return err
	}
	smooth, err := s.Smooth.sections(p.rateHz)
	if err != nil {
		return err
	}
	old := p.settings
	p.settings = s
	if old.Hum != s.Hum {
		p.finder.restart()
	}
	leaves := p.canceller != nil && p.canceller != cancel
	p.canceller = cancel
	// A stage whose settings stay is left alone: nothing then changes in it.
	for _, c := range []struct {
		cascade  *filter.Cascade
		sections filter.Sections
		same     bool
	}{
		{p.drift, drift, old.Drift == s.Drift},
		{p.hum, hum, old.Hum == s.Hum},
		{p.smooth, smooth, old.Smooth == s.Smooth},
	} {
		if c.same {
			continue
		}
		if err := c.cascade.Redesign(c.sections); err != nil {
			return err
		}
	}
	if leaves {
		// What it took out comes back.
		p.hum.Fade(p.lastCancelled - p.lastUncancelled)
	}
	return nil
}

// Settings are those applied, with defaults filled in.
func (p *Path) Settings() Settings { return p.settings }

// RateHz is the sample rate.
func (p *Path) RateHz() float64 { return p.rateHz }

// Reset forgets the signal, as after a gap, but not which mains was found.
func (p *Path) Reset() {
	p.drift.Reset()
	p.hum.Reset()
	p.smooth.Reset()
	p.finder.restart()
	p.lastCancelled, p.lastUncancelled = 0, 0
	if p.canceller != nil {
		p.canceller.Reset()
	}
}

func (p *Path) stage(point int) *filter.Cascade {
	switch point {
	case PointDrift:
		return p.drift
	case PointHum:
		return p.hum
	case PointSmooth:
		return p.smooth
	}
	return nil
}

// Response is the complex gain of the one stage that ends at point, at freqHz
// from 0 to half the rate; 1 for PointScale, and 1 for a canceller, which takes out
// lines of no width and has no delay. It panics for a point that is none.
func (p *Path) Response(point int, freqHz float64) complex128 {
	if point == PointScale {
		return 1
	}
	return p.mustStage(point).Response(freqHz)
}

func (p *Path) mustStage(point int) *filter.Cascade {
	c := p.stage(point)
	if c == nil {
		panic(fmt.Sprintf("signal path: point %d; must be 0 to %d", point, Points-1))
	}
	return c
}

// Whole is the complex gain of all stages together at freqHz.
func (p *Path) Whole(freqHz float64) complex128 {
	return p.Response(PointDrift, freqHz) * p.Response(PointHum, freqHz) * p.Response(PointSmooth, freqHz)
}

// GroupDelaySeconds is the group delay of the one stage that ends at point, at
// freqHz from 0 to half the rate; 0 for PointScale.
func (p *Path) GroupDelaySeconds(point int, freqHz float64) float64 {
	if point == PointScale {
		return 0
	}
	return p.mustStage(point).GroupDelaySamples(freqHz) / p.rateHz
}

// Sections are those of all stages in use, in order, with the notches at [Path.HumHz].
// A canceller is no row of sections: an error then says what to choose.
func (p *Path) Sections() (filter.Sections, error) {
	if p.canceller != nil {
		return nil, fmt.Errorf("signal path: hum: the canceller learns as it runs and is no fixed filter: choose the notch")
	}
	return filter.Join(p.drift.Sections(), p.hum.Sections(), p.smooth.Sections()), nil
}

// HumHz is the frequency the hum stage works at now; 0 when it is off, and while a
// canceller takes nothing out.
func (p *Path) HumHz() float64 {
	switch {
	case p.canceller != nil:
		return p.canceller.FreqHz()
	case p.settings.Hum.Mode == Off:
		return 0
	case p.settings.Hum.FreqHz != 0:
		return p.settings.Hum.FreqHz
	}
	return p.finder.hz
}

// Expect sets the mains frequency, 50 or 60 Hz, that notches which find it themselves
// begin with, as known from before; others take no notice.
func (p *Path) Expect(humHz float64) {
	if humHz != finderHz[0] && humHz != finderHz[1] || humHz == p.finder.hz {
		return
	}
	p.finder.hz = humHz
	if p.automatic() {
		p.retune()
	}
}

// Found is the mains frequency that was found last, whether or not it is in use.
func (p *Path) Found() float64 { return p.finder.hz }

// HumReason says why a canceller takes nothing out; "" while it works and in other
// modes.
func (p *Path) HumReason() string {
	if p.canceller == nil {
		return ""
	}
	return p.canceller.Reason()
}

// Hold tells the canceller that a heartbeat is here: for the next samples it does
// not learn. Notches take no notice.
func (p *Path) Hold(samples int) {
	if p.canceller != nil {
		p.canceller.Hold(samples)
	}
}
