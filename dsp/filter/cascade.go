package filter

import (
	"fmt"
	"math"

	"pulsewright/dsp"
)

var _ Filter = (*Cascade)(nil)
var _ dsp.Stream = (*Cascade)(nil)

// coefficients of a section as the recursion uses them:
//
//	y   = b0 x + s1
//	s1 ← d1 s1 + (s2 + g1 x)
//	s2 ← (s2 + g2 x) − a2 s1
//
// with d1 = 1 − α1, g1 = β1 − α1 β0, g2 = β2 − α2 β0, a2 = α2: the transposed
// δ form solved for its states, so that from one sample to the next only one
// multiplication and one addition wait for each other.
type coefficients struct{ b0, g1, d1, g2, a2 float64 }

type state struct{ s1, s2 float64 }

// Cascade runs Sections over a stream, all sections sample by sample.
//
// Process, start-up and panics are as in [dsp.Stream]. Not safe for concurrent
// use.
type Cascade struct {
	rateHz   float64
	sections Sections
	coef     []coefficients
	state    []state

	started bool
	last    float64 // last input
	count   int     // samples since the last clearing of vanished states

	// After Redesign the output carries offset·w, w from 1 to 0 in a half cosine.
	offset             float64
	fadeAt, fadeLength int
}

// FadeSeconds is how long a jump that Redesign could not carry over takes to fade.
const FadeSeconds = 0.1

// clearEvery is how often, by the sample count and not by the call, states that
// have died away are set to zero before they become subnormal, which most
// processors compute a hundred times more slowly.
const (
	clearEvery = 4096
	vanished   = 1e-200
)

// NewCascade makes a running filter. rateHz must be the one the sections were
// designed for, 25 to 192000 Hz.
func NewCascade(sections Sections, rateHz float64) (*Cascade, error) {
	if err := checkRate("cascade", rateHz); err != nil {
		return nil, err
	}
	if err := sections.Check(); err != nil {
		return nil, err
	}
	c := &Cascade{rateHz: rateHz, fadeLength: int(math.Ceil(FadeSeconds * rateHz))}
	c.fadeAt = c.fadeLength
	c.load(sections)
	return c, nil
}

func (c *Cascade) load(sections Sections) {
	c.sections = append(Sections(nil), sections...)
	c.coef = make([]coefficients, len(sections))
	c.state = make([]state, len(sections))
	for i := range sections {
		c.coef[i] = sections[i].coefficients()
	}
}

func (s *Section) coefficients() coefficients {
	return coefficients{
		b0: s.beta[0],
		g1: s.beta[1] - s.alpha[0]*s.beta[0],
		d1: 1 - s.alpha[0],
		g2: s.beta[2] - s.alpha[1]*s.beta[0],
		a2: s.alpha[1],
	}
}

// steady is the state in which a constant input x has stood for ever.
func (s *Section) steady(x float64) state {
	g := s.gain0()
	if s.firstOrder() {
		return state{s1: (g - s.beta[0]) * x}
	}
	return state{s1: (g - s.beta[0]) * x, s2: (s.alpha[0]*g - s.beta[1]) * x}
}

// Process filters src into dst; see [dsp.Stream].
func (c *Cascade) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic(fmt.Sprintf("filter: Process: dst has %d samples, src %d; must be equal", len(dst), len(src)))
	}
	if len(src) == 0 {
		return
	}
	if !c.started {
		c.started = true
		c.Start(src[0])
	}
	c.last = src[len(src)-1]
	for len(src) > 0 {
		n := min(len(src), clearEvery-c.count)
		run(c.coef, c.state, dst[:n], src[:n])
		if c.fadeAt < c.fadeLength {
			c.fade(dst[:n])
		}
		if c.count += n; c.count == clearEvery {
			c.count = 0
			clearVanished(c.state)
		}
		dst, src = dst[n:], src[n:]
	}
}

func clearVanished(states []state) {
	for i := range states {
		s := &states[i]
		if math.Abs(s.s1) < vanished {
			s.s1 = 0
		}
		if math.Abs(s.s2) < vanished {
			s.s2 = 0
		}
	}
}

func (c *Cascade) fade(dst []float64) {
	for i := range dst {
		if c.fadeAt == c.fadeLength {
			return
		}
		dst[i] += c.offset * c.weight()
		c.fadeAt++
	}
}

func (c *Cascade) weight() float64 {
	if c.fadeAt >= c.fadeLength {
		return 0
	}
	return 0.5 + 0.5*math.Cos(math.Pi*float64(c.fadeAt)/float64(c.fadeLength))
}

// Start puts the filter in the steady state of a constant input x, as if x had
// stood for ever.
func (c *Cascade) Start(x float64) {
	c.started = true
	c.last = x
	c.count = 0
	c.fadeAt = c.fadeLength
	for i := range c.sections {
		c.state[i] = c.sections[i].steady(x)
		x *= c.sections[i].gain0()
	}
}

// Reset forgets the past: the next sample starts in steady state.
func (c *Cascade) Reset() {
	c.started = false
	c.count = 0
	c.fadeAt = c.fadeLength
}

// Redesign goes over to other sections without a click. It may allocate; Process
// still does not.
//
// Section by section the output that would come next for an unchanged input is
// carried over, and with it the slope, the latter reduced in the ratio of the
// natural frequencies when the new section is the slower one, because a fast
// section's slope would make a slow one overshoot. Sections added start in the
// steady state of what reaches them. What still differs at the end of the cascade
// (sections added or removed) is added to the output and fades within
// [FadeSeconds] in a half cosine, so that from the last old output to the first
// new one only the input's own change is seen. A high-pass keeps the drift it
// had not yet removed and removes it with its new time constant.
func (c *Cascade) Redesign(sections Sections) error {
	if err := sections.Check(); err != nil {
		return err
	}
	if !c.started {
		c.load(sections)
		return nil
	}
	old, oldState := c.sections, c.state
	offset := c.offset * c.weight()
	c.load(sections)

	x := c.last
	was, is := x, x
	for i := 0; i < max(len(old), len(sections)); i++ {
		var slope, speed float64
		if i < len(old) {
			o := &old[i]
			y := o.beta[0]*was + oldState[i].s1
			slope = o.beta[1]*was + oldState[i].s2 - o.alpha[0]*y
			speed = o.speed()
			was = y
		}
		if i >= len(sections) {
			continue
		}
		s := &sections[i]
		if i >= len(old) {
			c.state[i] = s.steady(is)
			is *= s.gain0()
			continue
		}
		// In the common part was is the output of both.
		st := state{s1: was - s.beta[0]*is}
		if !s.firstOrder() {
			if r := s.speed() / speed; r < 1 {
				slope *= r
			}
			st.s2 = slope - s.beta[1]*is + s.alpha[0]*was
		}
		c.state[i] = st
		is = was
	}
	c.offset = was + offset - is
	c.fadeAt = 0
	if c.offset == 0 {
		c.fadeAt = c.fadeLength
	}
	return nil
}

// Fade adds jump to the output from the next sample on and lets it fade like the
// jumps of Redesign: for the owner of a stage beside the cascade who takes it out
// and knows by how much the output would jump. Nothing before the first sample.
func (c *Cascade) Fade(jump float64) {
	if !c.started || jump == 0 {
		return
	}
	c.offset = c.offset*c.weight() + jump
	c.fadeAt = 0
}

// speed is the natural frequency, nearly in radians per sample.
func (s *Section) speed() float64 {
	if s.firstOrder() {
		return s.alpha[0]
	}
	return math.Sqrt(s.alpha[1])
}

// Sections are those in use.
func (c *Cascade) Sections() Sections { return append(Sections(nil), c.sections...) }

// RateHz is the sample rate the filter was made for.
func (c *Cascade) RateHz() float64 { return c.rateHz }

// Response is the complex gain at freqHz, from 0 to half the rate.
func (c *Cascade) Response(freqHz float64) complex128 { return c.sections.Response(freqHz, c.rateHz) }

// GroupDelaySamples is the group delay at freqHz, from 0 to half the rate.
func (c *Cascade) GroupDelaySamples(freqHz float64) float64 {
	return c.sections.GroupDelaySamples(freqHz, c.rateHz)
}

// SettlingSeconds is how long after a step of the input the output needs to stay
// within fraction of the step from its final value; fraction lies above 0 and
// below 1, or SettlingSeconds panics. It runs the step response, which takes
// some milliseconds for a corner a million times below the rate.
func (c *Cascade) SettlingSeconds(fraction float64) float64 {
	return float64(c.sections.settlingSamples(fraction)) / c.rateHz
}

func (s Sections) settlingSamples(fraction float64) int {
	if !(fraction > 0 && fraction < 1) {
		panic(fmt.Sprintf("filter: settling within %g; must lie between 0 and 1", fraction))
	}
	if len(s) == 0 {
		return 0
	}
	coef, st := make([]coefficients, len(s)), make([]state, len(s))
	final := 1.0
	for i := range s {
		coef[i] = s[i].coefficients()
		final *= s[i].gain0()
	}
	// Long enough for the slowest mode, starting a thousand times above the step,
	// to have passed the fraction.
	end := int(math.Ceil(s.TimeConstantSamples()*math.Log(1e3/fraction))) + 8*len(s)
	var ones, block [1024]float64
	for i := range ones {
		ones[i] = 1
	}
	settled := 0
	for n := 0; n < end; n += len(block) {
		run(coef, st, block[:], ones[:])
		clearVanished(st)
		for i, y := range block {
			if math.Abs(y-final) > fraction {
				settled = n + i + 1
			}
		}
	}
	return settled
}
