package simulate

import (
	"math"
	"math/rand/v2"

	"pulsewright/acquire"
)

// pole is a single-pole low-pass, exact for an input that is straight between
// steps (first-order hold).
type pole struct {
	a, b0, b1 float64
	x, y      float64
	started   bool
}

func (p *pole) set(cornerHz, step float64) {
	if cornerHz == 0 {
		p.a, p.b0, p.b1 = 0, 1, 0
		return
	}
	w := 2 * math.Pi * cornerHz * step
	p.a = math.Exp(-w)
	r := -math.Expm1(-w) / w
	p.b0, p.b1 = 1-r, r-p.a
}

func (p *pole) process(x float64) float64 {
	if !p.started {
		p.x, p.y, p.started = x, x, true
	}
	p.y = p.a*p.y + p.b0*x + p.b1*p.x
	p.x = x
	return p.y
}

// board is one channel from the sensor to the amplifier's output.
type board struct {
	Channel
	step  float64 // seconds of an analogue step
	noise *rand.Rand
	drift []line

	ecg               ecg
	ecgRest, ecgScale float64
	trimmer, clean    pole
	delay             float64 // seconds, of the trimmer

	// Set by slow for each sample.
	base   float64 // baseline, drift, movement, and the step when a finger comes or goes
	height float64 // of the beats
	light  float64 // how much of the flicker comes in
	off    bool
	offset float64 // decaying step
	lastT  float64

	out  float64 // behind the trimmer
	wave wave
}

func newBoard(c Config, ch Channel, index int, step float64) board {
	b := board{Channel: ch, step: step, noise: stream(c.Seed, streamNoise, index)}
	rng := stream(c.Seed, streamDrift, index)
	for _, f := range []float64{0.005, 0.012, 0.023, 0.041, 0.066, 0.1} {
		// Each line a quarter around its place, all of one power.
		b.drift = append(b.drift, line{f * (0.8 + 0.4*rng.Float64()), 2 * math.Pi * rng.Float64(), ch.DriftVolts * math.Sqrt(2.0/6)})
	}
	if ch.Kind == acquire.KindECG {
		rest, height := calibrateECG()
		b.ecgRest, b.ecgScale = rest, 1/height
		b.ecg.z = rest
	}
	b.setTrimmer(ch.TrimmerHz)
	b.lastT = math.Inf(-1)
	b.wave = newWave()
	return b
}

func (b *board) setTrimmer(hz float64) {
	b.trimmer.set(hz, b.step)
	b.clean.set(hz, b.step)
	b.delay = 0
	if hz > 0 {
		b.delay = 1 / (2 * math.Pi * hz)
	}
}

// touchSeconds is how fast the coupling capacitor takes up a step.
const touchSeconds = 0.6

// slow sets what changes little from one sample to the next.
func (b *board) slow(t, breath float64, off bool, m *motion) {
	if !math.IsInf(b.lastT, -1) {
		b.offset *= math.Exp(-(t - b.lastT) / touchSeconds)
	}
	if off != b.off {
		b.off = off
		step := 1.5 // room light floods the sensor, or the lead floats off
		if !off {
			step = -step
		}
		b.offset += step
	}
	b.lastT = t
	b.base = b.BreathVolts*breath + sum(b.drift, t) + b.offset + b.MotionVolts*m.at(t)
	b.height = b.SignalVolts * (1 + b.BreathDepth*breath)
	b.light = b.FlickerVolts
	if off {
		b.height = 0
		b.base = sum(b.drift, t) + b.offset
		b.light *= 3
	}
	if b.Invert {
		b.height = -b.height
	}
}

// moment is an analogue step: its time, in seconds and in samples, the R peaks around it,
// and what comes from the house, each of 1 V rms.
type moment struct {
	t, position  float64
	from, to     float64
	hum, flicker float64
}

// analogue makes one step and returns a beat when it became certain.
func (b *board) analogue(hr *heart, m moment) (Beat, bool) {
	var x float64
	switch b.Kind {
	case acquire.KindPulse:
		sent := m.t - b.TransitSeconds
		m.from, m.to = hr.around(sent)
		x = pulseAt(2 * math.Pi * (sent - m.from) / (m.to - m.from))
	case acquire.KindECG:
		x = (b.ecg.z - b.ecgRest) * b.ecgScale
		b.ecg.step(hr, m.t, b.step)
	}
	x *= b.height
	clean := b.clean.process(x)
	b.out = b.trimmer.process(x + b.base + m.hum*b.HumVolts + m.flicker*b.light)
	if b.Kind == acquire.KindOther {
		return Beat{}, false
	}
	if b.Invert {
		clean = -clean
	}
	if b.Kind == acquire.KindECG {
		return b.wave.ecg(m, clean, 0.08+3*b.delay)
	}
	return b.wave.pulse(m, clean)
}
