package mains

import (
	"math"
	"math/cmplx"
)

const (
	hopSeconds    = 0.04 // how often the loop is corrected
	loopSeconds   = 0.3  // its time constant
	glideSeconds  = 0.02 // how fast what is subtracted follows the loop
	spareSeconds  = 0.06 // left out before and after a burst
	checkSeconds  = 1.0  // how often the tracker is asked whether the hum is still there
	earlySeconds  = 0.25 // the same before the first answer
	missesToStop  = 3    // checks without hum until nothing is subtracted any more
	gateRatio     = 5.0  // residual over its running median that marks a burst
	longestBurst  = 0.4  // seconds; longer is a change of the hum
	changeFloor   = 0.03 // residual below this share of the hum is never a burst
	mostDrift     = 0.1  // hertz a second: ten times a large grid's
	medianSeconds = 0.3  // how fast the running median may double or halve
)

// Canceller takes hum out of a signal by subtracting a sine of the hum's
// amplitude, phase and frequency for each harmonic. It is a dsp.Stream: no delay,
// no allocation, split-invariant.
//
// Unlike a notch it has no transient of its own: a QRS, a touch or a step passes
// unchanged, because such bursts are left out of its estimate, by its own look at
// the band-passed residual and during Hold; meanwhile it subtracts the hum it
// knows. It needs about 0.7 s before it first subtracts (the signal passes
// unchanged until then) and follows slow changes with a time constant of 0.3 s.
// Every second a Tracker says whether there is still hum and where: when none is
// found three times, what is subtracted fades away.
//
// In a signal path it stands where the notches stand, on any signal in volts:
//
//	c, err := mains.NewCanceller(mains.Config{RateHz: rateHz, NominalHz: settings.FreqHz, Harmonics: settings.Harmonics})
//	c.Process(out, in)         // every block
//	c.Hold(int(0.12 * rateHz)) // optional, when a QRS is known to be there
//	c.Reset()                  // after a gap
//
// Its response is 1 but for a line of zero width at FreqHz and its multiples, with
// no group delay. At a rate where hum cannot be measured (Reason says so) the
// signal passes unchanged.
type Canceller struct {
	t     *Tracker
	cfg   Config
	index int64 // samples taken in

	// The loop. Phases are those of the oscillator u, which turns at freqHz.
	active  bool
	freqHz  float64
	u, step complex128
	want    [maxHarmonics]complex128 // estimate
	sub     [maxHarmonics]complex128 // what is subtracted, glides to want
	n       int                      // harmonics
	glide   float64
	gains   [maxHarmonics]float64
	gainsAt float64
	drift   float64 // hertz a second

	// One entry for each output of the tracker's band-pass.
	phase   []complex128 // u at that output's centre
	burst   []bool
	at      int
	spare   int // entries left out before and after a burst
	after   int // entries still left out
	run     int // entries left out in a row
	longest int // of those, more than a heartbeat's
	median  float64
	rise    float64
	seen    int64
	hop     int
	inHop   int
	goodHop int
	err     [maxHarmonics]complex128

	untilCheck int
	misses     int
	holdFrom   int64
	holdTo     int64
}

// NewCanceller refuses what NewTracker refuses.
func NewCanceller(cfg Config) (*Canceller, error) {
	t, err := NewTracker(cfg)
	if err != nil {
		return nil, err
	}
	c := &Canceller{t: t, cfg: t.cfg}
	if t.front != nil {
		outHz := t.front.outHz
		c.spare = int(math.Ceil(spareSeconds * outHz))
		c.phase = make([]complex128, c.spare+1)
		c.burst = make([]bool, c.spare+1)
		c.longest = int(math.Ceil(longestBurst * outHz))
		c.hop = max(1, int(math.Round(hopSeconds*outHz)))
		c.glide = 1 - math.Exp(-1/(glideSeconds*cfg.RateHz))
		c.rise = math.Exp2(1 / (medianSeconds * outHz))
	}
	c.Reset()
	return c, nil
}

// Reset forgets everything, as after a gap.
func (c *Canceller) Reset() {
	t := c.t
	t.Reset()
	*c = Canceller{t: t, cfg: c.cfg, phase: c.phase, burst: c.burst, spare: c.spare, longest: c.longest, hop: c.hop, glide: c.glide, rise: c.rise,
		u: 1, step: 1, holdFrom: -1, holdTo: -1}
	if t.front != nil {
		c.untilCheck = int(earlySeconds * c.cfg.RateHz)
		clear(c.phase)
		clear(c.burst)
	}
}

// FreqHz is the fundamental's frequency, 0 while nothing is subtracted.
func (c *Canceller) FreqHz() float64 {
	if !c.active {
		return 0
	}
	return c.freqHz
}

// Reason says why nothing is subtracted, "" while the canceller works.
func (c *Canceller) Reason() string {
	switch {
	case c.t.refusal != "":
		return c.t.refusal
	case c.active:
		return ""
	case c.misses > 0:
		return "no hum found"
	}
	return "looking for hum"
}

// VoltsRMS is the root mean square of what is subtracted.
func (c *Canceller) VoltsRMS() float64 {
	var s float64
	for _, v := range c.sub[:c.n] {
		s += real(v)*real(v) + imag(v)*imag(v)
	}
	return math.Sqrt(s / 2)
}

// Hold leaves the next samples out of the estimate: a heartbeat or a touch is
// there. The hum known so far is still subtracted. A second call replaces the end
// of a hold that is still running if it reaches further.
func (c *Canceller) Hold(samples int) {
	if samples <= 0 {
		return
	}
	if c.holdTo < c.index {
		c.holdFrom = c.index
	}
	c.holdTo = max(c.holdTo, c.index+int64(samples))
}

// Process writes src without its hum to dst. See dsp.Stream. A NaN or an infinity
// starts the canceller anew.
func (c *Canceller) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic("mains: Process: dst and src differ in length")
	}
	if c.t.front == nil {
		copy(dst, src)
		return
	}
	for i, x := range src {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			c.t.bad++
			c.Reset()
			dst[i] = x
			continue
		}
		c.index++
		c.u *= c.step
		y := x
		if c.n > 0 {
			z := c.u
			for h := range c.n {
				c.sub[h] += complex(c.glide, 0) * (c.want[h] - c.sub[h])
				y -= real(c.sub[h])*real(z) - imag(c.sub[h])*imag(z)
				z *= c.u
			}
		}
		if c.t.push(x) {
			c.output()
		}
		if c.untilCheck--; c.untilCheck <= 0 {
			c.check()
		}
		dst[i] = y
	}
}

// newest is the band-passed signal k outputs ago.
func (c *Canceller) newest(k int) float64 {
	i := c.t.next - 1 - k
	if i < 0 {
		i += len(c.t.ring)
	}
	return c.t.ring[i]
}

// output takes in a new value of the band-pass: looks for bursts at the newest,
// corrects the loop with the oldest of the last spare ones.
func (c *Canceller) output() {
	f := c.t.front
	if a := cmplx.Abs(c.u); a != 0 {
		c.u /= complex(a, 0)
	}
	if !c.active {
		return
	}
	// The oscillator at the centre of the newest value.
	if c.at++; c.at == len(c.phase) {
		c.at = 0
	}
	c.phase[c.at] = c.u * cmplx.Exp(complex(0, -2*math.Pi*c.freqHz*float64(f.half)/f.rateHz))
	c.seen++

	r := math.Abs(c.newest(0) - c.model(c.phase[c.at]))
	if c.median == 0 {
		c.median = r
	} else if r > c.median {
		c.median *= c.rise
		if c.run > c.longest { // no heartbeat lasts so long: the hum has changed
			c.median *= c.rise * c.rise * c.rise
		}
	} else {
		c.median /= c.rise
	}
	c.median = max(c.median, changeFloor*cmplx.Abs(c.want[0])/gateRatio)
	bad := r > gateRatio*c.median
	if bad || c.after > 0 {
		c.run++
	} else {
		c.run = 0
	}
	centre := c.index - int64(f.half)
	if margin := int64(f.half / 2); centre >= c.holdFrom-margin && centre <= c.holdTo+margin && c.holdTo >= 0 {
		bad = true
	}
	if bad {
		c.after = c.spare
		for i := range c.burst { // the entries before it
			c.burst[i] = true
		}
	}
	c.burst[c.at] = bad || c.after > 0
	if c.after > 0 {
		c.after--
	}
	if c.seen <= int64(c.spare) {
		return
	}

	// The oldest entry.
	old := c.at + 1
	if old == len(c.phase) {
		old = 0
	}
	if !c.burst[old] {
		e := c.newest(c.spare) - c.model(c.phase[old])
		z := cmplx.Conj(c.phase[old])
		w := z
		for h := range c.n {
			c.err[h] += complex(2*e/c.gains[h], 0) * w
			w *= z
		}
		c.goodHop++
	}
	if c.inHop++; c.inHop < c.hop {
		return
	}
	if c.goodHop*4 >= c.hop {
		c.correct()
	}
	c.setFreq(c.freqHz + c.drift*hopSeconds)
	c.inHop, c.goodHop = 0, 0
	c.err = [maxHarmonics]complex128{}
}

// correct turns and scales what is known by the mean error of the last hop, slowed
// down by the share of the hop that was left out. One phase is common to all
// harmonics, the (h+1)-th turning h+1 times as far; its best estimate from errors of
// equal noise is φ = Σ (h+1) Im(e w*) / Σ (h+1)² |w|². It drives a third-order loop of
// phase, frequency and drift with a triple pole, which a frequency that moves evenly
// leaves no error in (Gardner, Phaselock Techniques, chapter 2; the gains 3ω, 3ω², ω³
// are a triple pole's). Each harmonic's own amplitude and phase follow beside it by
// a first-order one.
func (c *Canceller) correct() {
	share := float64(c.goodHop) / float64(c.hop)
	alpha, w := share*hopSeconds/loopSeconds, share/(3*loopSeconds)
	var turned, weight float64
	for h := range c.n {
		c.err[h] /= complex(float64(c.goodHop), 0)
		a, k := c.want[h], float64(h+1)
		turned += k * imag(c.err[h]*cmplx.Conj(a))
		weight += k * k * (real(a)*real(a) + imag(a)*imag(a))
	}
	phi := 0.0
	if weight > 0 {
		phi = max(-0.5, min(0.5, turned/weight))
	}
	turn := cmplx.Rect(1, alpha*phi)
	z := turn
	for h := range c.n {
		rotated := c.want[h] * z
		c.want[h] = rotated + complex(alpha, 0)*(c.err[h]-(rotated-c.want[h]))
		z *= turn
	}
	c.drift = max(-mostDrift, min(mostDrift, c.drift+w*w*w*hopSeconds*phi/(2*math.Pi)))
	c.retune(c.freqHz + 3*w*w*hopSeconds*phi/(2*math.Pi))
}

// retune takes over a better frequency for the oldest entry's time: what came after
// it, up to the present sample, turned wrongly by the difference ever since. So the
// loop has no dead time.
func (c *Canceller) retune(freqHz float64) {
	was := c.freqHz
	c.setFreq(freqHz)
	f := c.t.front
	perEntry := cmplx.Rect(1, 2*math.Pi*(c.freqHz-was)/f.outHz)
	turn := complex(1, 0)
	for k := 1; k <= len(c.phase); k++ { // the oldest first
		i := (c.at + k) % len(c.phase)
		c.phase[i] *= turn
		turn *= perEntry
	}
	c.u *= cmplx.Rect(1, 2*math.Pi*(c.freqHz-was)*(float64(c.spare)/f.outHz+float64(f.half)/f.rateHz))
}

// model is the band-passed hum at an oscillator phase.
func (c *Canceller) model(u complex128) float64 {
	var s float64
	z := u
	for h := range c.n {
		s += c.gains[h] * (real(c.want[h])*real(z) - imag(c.want[h])*imag(z))
		z *= u
	}
	return s
}

func (c *Canceller) setFreq(freqHz float64) {
	c.freqHz = max(lowestHz-1, min(highestHz+1, freqHz))
	c.step = cmplx.Exp(complex(0, 2*math.Pi*c.freqHz/c.cfg.RateHz))
	if math.Abs(c.freqHz-c.gainsAt) > 0.1 {
		c.gainsAt = c.freqHz
		for h := range c.n {
			c.gains[h] = c.t.front.gain(float64(h+1) * c.freqHz)
		}
	}
}

// check asks the tracker, and starts, corrects or stops the loop.
func (c *Canceller) check() {
	c.untilCheck = int(checkSeconds * c.cfg.RateHz)
	if c.untilCheck < 1 {
		c.untilCheck = 1
	}
	c.t.doFit()
	f := &c.t.fitted
	if !f.ok {
		if f.tooShort {
			c.untilCheck = max(1, int(earlySeconds*c.cfg.RateHz))
			return
		}
		// Too little quiet signal is no sign that the hum is gone.
		if f.noLine {
			c.misses++
		}
		if c.misses >= missesToStop || !c.active {
			c.active = false
			c.want = [maxHarmonics]complex128{}
		}
		if !c.active && f.seconds < windowSeconds*0.99 {
			c.untilCheck = max(1, int(earlySeconds*c.cfg.RateHz))
		}
		return
	}
	c.misses = 0
	if f.seconds < windowSeconds*0.99 {
		c.untilCheck = max(1, int(earlySeconds*c.cfg.RateHz))
	}
	// While the fit still grows it is better than the loop; later only when the
	// loop has lost the line.
	sureHz := math.Sqrt(3) / (math.Pi * f.seconds) * f.sigma[0] / cmplx.Abs(f.amp[0])
	lost := math.Abs(f.freqHz-c.freqHz) > 0.05+5*sureHz
	if c.active && !lost && f.seconds >= windowSeconds*0.99 {
		return
	}
	wasActive := c.active
	c.active = true
	front := c.t.front
	c.n = f.n
	c.gainsAt, c.drift = 0, 0
	c.setFreq(f.freqHz)
	// From the centre of the newest value to the present sample, then into the
	// oscillator's frame.
	ahead := float64(front.half+front.phase) / front.rateHz
	turn := cmplx.Exp(complex(0, 2*math.Pi*f.freqHz*ahead))
	z, w := turn*cmplx.Conj(c.u), turn*cmplx.Conj(c.u)
	for h := range c.n {
		c.want[h] = f.amp[h] * w
		w *= z
	}
	for h := c.n; h < maxHarmonics; h++ {
		c.want[h], c.sub[h] = 0, 0
	}
	if !wasActive {
		c.seen, c.median, c.after, c.run = 0, 0, 0, 0
		clear(c.burst)
	}
	c.inHop, c.goodHop = 0, 0
	c.err = [maxHarmonics]complex128{}
	// Phases of the entries still to be used, as if the frequency had always been
	// this one.
	newest := c.u * cmplx.Conj(turn)
	perEntry := cmplx.Exp(complex(0, -2*math.Pi*f.freqHz/front.outHz))
	i := c.at
	for range c.phase {
		c.phase[i] = newest
		newest *= perEntry
		if i--; i < 0 {
			i = len(c.phase) - 1
		}
	}
}
