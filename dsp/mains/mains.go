// Package mains measures the hum that house wiring leaves in a signal and takes
// it out: a lock-in on the fundamental and its harmonics that follows the true
// frequency, and a canceller built on it.
//
// Method. A linear-phase band-pass of 0.2 s (Blackman–Harris windowed sinc)
// removes level, drift, pulse, P and T waves. What is left over the last two
// seconds is hum, noise and the short bursts of QRS complexes or touches. Bursts
// stand out of the running power and are left out; the rest is fitted by
// least squares with sines of one common frequency and its multiples, the
// frequency by Gauss–Newton steps from the highest line of the spectrum, and
// the bursts are looked for again in the residual. The uncertainty comes from
// the residual's spectrum about each line.
//
// Volts are root mean square unless a name says otherwise, frequencies are in
// hertz as counted by the stated sample rate. Nothing here is safe for
// concurrent use.
//
// Sources: lock-in by whole-record least squares, e.g. P. Händel, IEEE Trans.
// Instrum. Meas. 49 (2000) 1189–1193 (four-parameter sine fit, IEEE Std 1057);
// window: F. J. Harris, Proc. IEEE 66 (1978) 51–83 (4-term, −92 dB).
package mains

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/dsp/window"
)

const (
	lowestHz, highestHz = 45, 65 // where mains is looked for
	windowSeconds       = 2.0    // length of the fit
	leastSeconds        = 0.5    // shortest fit
	halfFIRSeconds      = 0.1    // half the band-pass's length
	transitionHz        = 14     // the band-pass's half transition at that length
	nyquistMarginHz     = 1.5    // least distance to half the rate
	foldedLowestHz      = 28     // a folded line below this lies among QRS energy
	foundSigmas         = 5      // a line this far above the noise is hum: chance of a false one about 1e-4 a window
	maxHarmonics        = 8
	burstRatio          = 6.0   // power over the lower quartile that marks a burst
	burstFloor          = 0.002 // residual below this share of the hum is never a burst
)

// Config is what a Tracker or a Canceller is made for.
type Config struct {
	// RateHz is the sample rate, 25 Hz to 192 kHz.
	RateHz float64
	// NominalHz is the mains frequency: 50, 60, or 0 to find it. A line is looked
	// for within 5 Hz of it.
	NominalHz float64
	// Harmonics is how many multiples are measured, the fundamental counted: 1 to
	// 8, default 3. Those that lie above half the rate are left out.
	Harmonics int
}

// Measure is the hum of the last two seconds.
type Measure struct {
	Found bool `json:"found"`
	// Reason says why nothing was found, or what to know about what was.
	Reason string `json:"reason"`
	// NominalHz is 50 or 60, the nearer one; 0 when nothing was found.
	NominalHz         float64 `json:"nominalHz"`
	FreqHz            float64 `json:"freqHz"`
	FreqUncertaintyHz float64 `json:"freqUncertaintyHz"`
	// AmplitudeVoltsRMS is each harmonic's amplitude, the fundamental first; only
	// those that the rate can carry. UncertaintyVoltsRMS is one standard deviation
	// of each.
	AmplitudeVoltsRMS   []float64 `json:"amplitudeVoltsRms"`
	UncertaintyVoltsRMS []float64 `json:"uncertaintyVoltsRms"`
	// TotalVoltsRMS is the root of the sum of squares of the harmonics that stand
	// above the noise (3 standard deviations).
	TotalVoltsRMS float64 `json:"totalVoltsRms"`
	// LimitVoltsRMS is the smallest fundamental that would have been found.
	LimitVoltsRMS float64 `json:"limitVoltsRms"`
	// Blind says why one of the two mains frequencies cannot be measured at this
	// rate, where nothing was found: then there may be hum all the same. "" else.
	Blind string `json:"blind"`
	// UsedShare is the part of the window that was free of bursts.
	UsedShare float64 `json:"usedShare"`
}

// fold is where a frequency appears after sampling at rateHz.
func fold(freqHz, rateHz float64) float64 {
	return math.Abs(freqHz - rateHz*math.Round(freqHz/rateHz))
}

// span is a range of true frequencies to search.
type span struct {
	low, high float64
	nominal   float64
}

// spanFor is where hum of a nominal frequency can be found at a rate, or why not.
func spanFor(nominal, rateHz float64) (span, string) {
	top := rateHz/2 - nyquistMarginHz
	switch {
	case nominal+5 <= top:
		return span{nominal - 5, nominal + 5, nominal}, ""
	case nominal+1 <= top:
		return span{nominal - 5, top, nominal}, ""
	}
	a, b := fold(nominal-1, rateHz), fold(nominal+1, rateHz)
	lo, hi := min(a, b), max(a, b)
	// One fold only, so that the range is not bent back on itself.
	if lo >= foldedLowestHz && hi <= top && math.Abs(hi-lo-2) < 1e-6 {
		return span{nominal - 1, nominal + 1, nominal}, ""
	}
	return span{}, fmt.Sprintf("%.0f Hz hum cannot be measured at this rate: sampled at %.4g Hz it appears at %.3g Hz; sample at %.0f Hz or more",
		nominal, rateHz, fold(nominal, rateHz), 2*(nominal+1+nyquistMarginHz))
}

// front is the band-pass, evaluated on every every-th sample.
type front struct {
	rateHz, outHz float64
	every         int
	half          int // delay in samples, a multiple of every
	taps          []float64
	ring          []float64 // twice the taps' length: each sample is stored twice
	at, phase     int
	primed        bool
}

func newFront(rateHz, lowestLineHz float64, harmonics int) *front {
	f := &front{rateHz: rateHz, every: 1}
	topHz := highestHz*float64(harmonics) + transitionHz
	f.every = max(1, int(rateHz/(2.3*(topHz+transitionHz))))
	f.outHz = rateHz / float64(f.every)
	f.half = f.every * int(math.Ceil(halfFIRSeconds*f.outHz))
	f.taps = make([]float64, 2*f.half+1)
	f.ring = make([]float64, 2*len(f.taps))
	w := make([]float64, len(f.taps))
	for i := range w {
		w[i] = 1
	}
	window.BlackmanHarris(w)
	lowCut := min(30, lowestLineHz-transitionHz)
	sinc := func(cut float64, i int) float64 {
		if i == f.half {
			return 2 * cut / rateHz
		}
		x := math.Pi * float64(i-f.half)
		return math.Sin(2*cut/rateHz*x) / x
	}
	var sum, sumW float64
	for i := range f.taps {
		var h float64
		if topHz+transitionHz < rateHz/2 {
			h = sinc(topHz, i)
		} else if i == f.half {
			h = 1
		}
		f.taps[i] = (h - sinc(lowCut, i)) * w[i]
		sum += f.taps[i]
		sumW += w[i]
	}
	for i := range f.taps { // exactly nothing at 0 Hz
		f.taps[i] -= w[i] * sum / sumW
	}
	return f
}

// gain is the band-pass's (real) gain about its delay.
func (f *front) gain(freqHz float64) float64 {
	sum := f.taps[f.half]
	d := 2 * math.Pi * freqHz / f.rateHz
	for k := 1; k <= f.half; k++ {
		sum += 2 * f.taps[f.half+k] * math.Cos(d*float64(k))
	}
	return sum
}

// push takes a sample; ok says that out is a new value, whose centre lies half
// samples back.
func (f *front) push(x float64) (out float64, ok bool) {
	n := len(f.taps)
	if !f.primed {
		for i := range f.ring {
			f.ring[i] = x
		}
		f.primed = true
	}
	f.ring[f.at], f.ring[f.at+n] = x, x
	if f.at++; f.at == n {
		f.at = 0
	}
	if f.phase++; f.phase < f.every {
		return 0, false
	}
	f.phase = 0
	r := f.ring[f.at : f.at+n]
	t := f.taps[:len(r)]
	var a, b float64
	i := 0
	for ; i+1 < len(r); i += 2 {
		a += t[i] * r[i]
		b += t[i+1] * r[i+1]
	}
	for ; i < len(r); i++ {
		a += t[i] * r[i]
	}
	return a + b, true
}

func (f *front) reset() { f.at, f.phase, f.primed = 0, 0, false }

// Tracker measures hum. Process takes the signal in; Measure looks at the last
// two seconds and may be called at any time.
//
// Calls of Process on pieces equal one call on the whole. A NaN or an infinity
// starts the tracker anew, as after a gap, and is counted.
type Tracker struct {
	cfg         Config
	spans       []span
	beatSeconds float64 // over which power is smoothed while the hum is in it
	refusal     string  // why nothing can be measured at this rate
	caution     string  // what else to know
	front       *front

	ring []float64 // band-passed, last windowSeconds
	next int       // where the next value goes
	held int       // values in ring since the start-up was over
	skip int       // outputs still to be skipped
	bad  int

	// Scratch and result of fit.
	y, power, sorted []float64
	use              []bool
	fft              *fourier.FFT
	padded           []float64
	coef             []complex128
	gains            []float64
	fitted           fit
}

// fit is a result in the band-passed signal's own time.
type fit struct {
	ok       bool
	freqHz   float64
	amp      [maxHarmonics]complex128 // peak volts; Re(amp·exp(jh2πf t)), t from the newest value's centre
	sigma    [maxHarmonics]float64    // of each quadrature, peak volts
	n        int                      // harmonics
	seconds  float64
	used     float64
	noLine   bool
	limit    float64 // peak volts
	nominal  float64
	tooShort bool
}

// NewTracker refuses only what makes no sense. A rate at which hum cannot be
// measured is no error: Measure then says so.
func NewTracker(cfg Config) (*Tracker, error) {
	if !(cfg.RateHz >= 25 && cfg.RateHz <= 192000) {
		return nil, fmt.Errorf("mains: sample rate %v Hz: it must be from 25 Hz to 192 kHz", cfg.RateHz)
	}
	if cfg.NominalHz != 0 && cfg.NominalHz != 50 && cfg.NominalHz != 60 {
		return nil, fmt.Errorf("mains: nominal frequency %v Hz: it must be 50, 60 or 0 (found by itself)", cfg.NominalHz)
	}
	if cfg.Harmonics == 0 {
		cfg.Harmonics = 3
	}
	if cfg.Harmonics < 1 || cfg.Harmonics > maxHarmonics {
		return nil, fmt.Errorf("mains: %d harmonics: it must be from 1 to %d", cfg.Harmonics, maxHarmonics)
	}
	t := &Tracker{cfg: cfg}
	if cfg.NominalHz != 0 {
		s, why := spanFor(cfg.NominalHz, cfg.RateHz)
		if why != "" {
			t.refusal = why
			return t, nil
		}
		t.spans = []span{s}
	} else {
		s5, why5 := spanFor(50, cfg.RateHz)
		s6, why6 := spanFor(60, cfg.RateHz)
		switch {
		case why5 != "" && why6 != "":
			t.refusal = fmt.Sprintf("hum cannot be measured at this rate: sampled at %.4g Hz, 50 Hz appears at %.3g Hz and 60 Hz at %.3g Hz; sample at 125 Hz or more",
				cfg.RateHz, fold(50, cfg.RateHz), fold(60, cfg.RateHz))
			return t, nil
		case why5 != "":
			t.caution, t.spans = why5, []span{s6}
		case why6 != "":
			t.caution, t.spans = why6, []span{s5}
		default:
			d := math.Abs(fold(50, cfg.RateHz) - fold(60, cfg.RateHz))
			if d < 3 {
				t.refusal = fmt.Sprintf("50 and 60 Hz hum look alike at this rate: sampled at %.4g Hz they appear at %.3g and %.3g Hz; name the mains frequency, or sample at 125 Hz or more",
					cfg.RateHz, fold(50, cfg.RateHz), fold(60, cfg.RateHz))
				return t, nil
			}
			t.spans = []span{s5, s6}
		}
	}
	// One cycle of hum smooths its power; near half the rate the samples of a sine
	// beat, and half a beat is needed.
	t.beatSeconds = 0.02
	lowest := math.Inf(1)
	for _, s := range t.spans {
		t.beatSeconds = max(t.beatSeconds, 0.5/(cfg.RateHz/2-max(fold(s.low, cfg.RateHz), fold(s.high, cfg.RateHz))))
		lowest = min(lowest, fold(s.low, cfg.RateHz), fold(s.high, cfg.RateHz))
	}
	t.front = newFront(cfg.RateHz, lowest, cfg.Harmonics)
	n := int(math.Round(windowSeconds * t.front.outHz))
	t.ring = make([]float64, n)
	t.y, t.power, t.sorted = make([]float64, n), make([]float64, n), make([]float64, 0, n)
	t.use = make([]bool, n)
	nfft := 1 << int(math.Ceil(math.Log2(4*float64(n))))
	t.fft = fourier.NewFFT(nfft)
	t.padded, t.coef = make([]float64, nfft), make([]complex128, nfft/2+1)
	t.gains = make([]float64, cfg.Harmonics)
	t.Reset()
	return t, nil
}

// Reset forgets everything, as after a gap.
func (t *Tracker) Reset() {
	if t.front == nil {
		return
	}
	t.front.reset()
	t.next, t.held = 0, 0
	t.skip = 2 * t.front.half / t.front.every
}

// NotFinite is how many samples were NaN or infinite since New.
func (t *Tracker) NotFinite() int { return t.bad }

// Process takes in samples in volts. It allocates nothing.
func (t *Tracker) Process(src []float64) {
	for _, x := range src {
		t.push(x)
	}
}

// push takes a sample and says whether the ring has a new value.
func (t *Tracker) push(x float64) bool {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		t.bad++
		t.Reset()
		return false
	}
	if t.front == nil {
		return false
	}
	v, ok := t.front.push(x)
	if !ok {
		return false
	}
	t.ring[t.next] = v
	if t.next++; t.next == len(t.ring) {
		t.next = 0
	}
	if t.skip > 0 {
		t.skip--
	} else if t.held < len(t.ring) {
		t.held++
	}
	return true
}

// Measure fits the last two seconds (less soon after the start: half a second at
// least). It costs about a millisecond and depends on the samples only, not on
// when it was called before.
func (t *Tracker) Measure() Measure {
	if t.refusal != "" {
		return Measure{Reason: t.refusal}
	}
	t.doFit()
	f := &t.fitted
	m := Measure{UsedShare: f.used, LimitVoltsRMS: f.limit / math.Sqrt2}
	switch {
	case f.tooShort:
		m.Reason = fmt.Sprintf("hum needs %.1f s of signal; wait", leastSeconds+2*halfFIRSeconds)
	case f.noLine:
		m.Reason = fmt.Sprintf("no hum found above %s rms", volts(m.LimitVoltsRMS))
		if t.caution != "" {
			m.Reason += "; but " + t.caution
			m.Blind = t.caution
		}
	case !f.ok:
		m.Reason = "too little quiet signal between beats or touches to measure hum; keep still"
	default:
		m.Found, m.NominalHz, m.FreqHz = true, f.nominal, f.freqHz
		m.FreqUncertaintyHz = math.Sqrt(3) / (math.Pi * f.seconds) * f.sigma[0] / cmplx.Abs(f.amp[0])
		var sum float64
		for h := range f.n {
			a, s := cmplx.Abs(f.amp[h])/math.Sqrt2, f.sigma[h]/math.Sqrt2
			m.AmplitudeVoltsRMS = append(m.AmplitudeVoltsRMS, a)
			m.UncertaintyVoltsRMS = append(m.UncertaintyVoltsRMS, s)
			if h == 0 || a > 3*s {
				sum += a * a
			}
		}
		m.TotalVoltsRMS = math.Sqrt(sum)
		if folded := fold(f.freqHz, t.cfg.RateHz); math.Abs(folded-f.freqHz) > 1e-9 {
			m.Reason = fmt.Sprintf("seen folded at %.3g Hz, because the sample rate is below twice the mains frequency", folded)
		}
	}
	return m
}

func volts(v float64) string {
	switch {
	case v < 1e-3:
		return fmt.Sprintf("%.2g µV", v*1e6)
	case v < 1:
		return fmt.Sprintf("%.3g mV", v*1e3)
	}
	return fmt.Sprintf("%.3g V", v)
}

// sines are the harmonics of a frequency: beta holds a1, b1, a2, b2, … of a cos + b sin, by times
// that count from the middle of the signal.
type sines struct {
	freq float64
	n    int // harmonics
	beta [2*maxHarmonics + 1]float64
}

// doFit fills t.fitted. It allocates nothing.
func (t *Tracker) doFit() {
	t.fitted = fit{}
	f := &t.fitted
	n := t.held
	if float64(n) < leastSeconds*t.front.outHz {
		f.tooShort = true
		return
	}
	y := t.y[:n]
	start := t.next - n
	for i := range y {
		j := start + i
		if j < 0 {
			j += len(t.ring)
		}
		y[i] = t.ring[j]
	}
	use, power := t.use[:n], t.power[:n]
	f.seconds = float64(n) / t.front.outHz

	// Bursts, by the running power over one cycle against its lower quartile.
	t.smooth(power, y, t.beatSeconds)
	t.mark(use, power, 0)
	freq, nominal, height := t.coarse(y, use)
	if height == 0 { // nothing at all
		f.noLine, f.used = true, 1
		return
	}
	s := sines{freq: freq}
	if !t.improve(&s, y) {
		return
	}
	used := 0
	for _, u := range use {
		if u {
			used++
		}
	}
	f.used = float64(used) / float64(n)
	if f.used < 0.1 {
		return
	}
	t.judge(&s, nominal)
}

// improve fits the sines in rounds, the bursts looked for anew between them; what is left of y
// then stands in t.power.
func (t *Tracker) improve(s *sines, y []float64) (ok bool) {
	use, power := t.use[:len(y)], t.power[:len(y)]
	for round := range 4 {
		steps := 2
		if round == 0 {
			steps = 3
		}
		for step := range steps {
			s.n = t.harmonicsAt(s.freq)
			if round == 0 && step < 2 {
				s.n = 1
			}
			for h := range s.n {
				t.gains[h] = t.front.gain(float64(h+1) * s.freq)
			}
			dw, ok := t.solve(y, use, s)
			if !ok {
				return false
			}
			s.freq += math.Max(-0.25, math.Min(0.25, dw/(2*math.Pi)))
		}
		t.residual(power, y, s) // the residual itself, for now
		if round == 3 {
			break
		}
		a := math.Hypot(s.beta[0], s.beta[1])
		t.smooth(power, power, 0.02)
		t.mark(use, power, burstFloor*burstFloor*a*a/2)
	}
	return true
}

// judge tells by the noise about each line, from the spectrum of the residual in t.power, whether
// the sines are hum, and brings them into t.fitted.
func (t *Tracker) judge(s *sines, nominal float64) {
	f, n := &t.fitted, t.held
	t.spectrum(t.power[:n], t.use[:n])
	f.n = s.n
	for h := range s.n {
		f.sigma[h] = t.noiseAbout(float64(h+1)*s.freq) / math.Abs(t.gains[h])
	}
	lo, hi := t.bounds(nominal)
	amp := math.Hypot(s.beta[0], s.beta[1])
	f.limit = foundSigmas * f.sigma[0]
	if amp < f.limit || s.freq < lo-0.5 || s.freq > hi+0.5 {
		f.noLine = true
		return
	}
	f.ok, f.freqHz, f.nominal = true, s.freq, 50
	if len(t.spans) == 1 {
		f.nominal = t.spans[0].nominal
	} else if s.freq > 55 {
		f.nominal = 60
	}
	// From the middle of the fit to its end.
	for h := range s.n {
		c := complex(s.beta[2*h], -s.beta[2*h+1])
		f.amp[h] = c * cmplx.Exp(complex(0, 2*math.Pi*s.freq*float64(h+1)*float64(n-1)/2/t.front.outHz))
	}
}

func (t *Tracker) bounds(nominal float64) (lo, hi float64) {
	lo, hi = math.Inf(1), 0
	for _, s := range t.spans {
		if s.nominal == nominal {
			lo, hi = min(lo, s.low), max(hi, s.high)
		}
	}
	return lo, hi
}

// harmonicsAt is how many multiples of freq the rate carries.
func (t *Tracker) harmonicsAt(freq float64) int {
	n := 1
	for n < t.cfg.Harmonics && float64(n+1)*freq <= t.cfg.RateHz/2-nyquistMarginHz {
		n++
	}
	return n
}

// smooth writes the running mean square of src over so many seconds.
func (t *Tracker) smooth(dst, src []float64, seconds float64) {
	half := max(1, int(math.Round(t.front.outHz*seconds/2)))
	// In place is allowed: squares first.
	n := len(src)
	sq := t.sorted[:n]
	for i, v := range src {
		sq[i] = v * v
	}
	for i := range dst {
		// Summed anew each time, so that a burst leaves no rounding behind.
		var s float64
		a, b := max(0, i-half), min(n-1, i+half)
		for _, v := range sq[a : b+1] {
			s += v
		}
		dst[i] = s / float64(b-a+1)
	}
}

// mark sets use where the power is near its lower quartile, with 10 ms to spare.
func (t *Tracker) mark(use []bool, power []float64, floor float64) {
	s := t.sorted[:len(power)]
	copy(s, power)
	slices.Sort(s)
	limit := max(burstRatio*s[len(s)/4], floor)
	spare := max(1, int(math.Round(t.front.outHz*0.01)))
	for i := range use {
		use[i] = true
	}
	for i, p := range power {
		if p > limit {
			for j := max(0, i-spare); j <= min(len(use)-1, i+spare); j++ {
				use[j] = false
			}
		}
	}
}

// spectrum is the transform of the used part of y, scaled to amplitude.
func (t *Tracker) spectrum(y []float64, use []bool) {
	clear(t.padded)
	n := 0
	for i, v := range y {
		if use[i] {
			t.padded[i] = v
			n++
		}
	}
	t.fft.Coefficients(t.coef, t.padded)
	s := complex(2/float64(max(1, n)), 0)
	for i := range t.coef {
		t.coef[i] *= s
	}
}

// coarse is the highest line in the spans.
func (t *Tracker) coarse(y []float64, use []bool) (freq, nominal, height float64) {
	t.spectrum(y, use)
	df := t.front.outHz / float64(len(t.padded))
	height = -1
	for _, s := range t.spans {
		for f := s.low; f <= s.high; f += df {
			b := int(math.Round(fold(f, t.cfg.RateHz) / df))
			if a := cmplx.Abs(t.coef[min(b, len(t.coef)-1)]); a > height {
				height, freq, nominal = a, f, s.nominal
			}
		}
	}
	return freq, nominal, height
}

// noiseAbout is a quadrature's standard deviation from the amplitude spectrum
// 1 to 10 Hz off a line: a Rayleigh median is 1.1774 of it.
func (t *Tracker) noiseAbout(freq float64) float64 {
	df := t.front.outHz / float64(len(t.padded))
	at := fold(freq, t.cfg.RateHz)
	s := t.sorted[:0]
	for d := -10.0; d <= 10; d += df {
		if math.Abs(d) < 1 {
			continue
		}
		b := int(math.Round((at + d) / df))
		if b >= 0 && b < len(t.coef) && len(s) < cap(s) {
			s = append(s, cmplx.Abs(t.coef[b]))
		}
	}
	slices.Sort(s)
	return s[len(s)/2] / math.Sqrt(2*math.Ln2)
}

// solve fits a_h cos + b_h sin of all harmonics, then the frequency step in
// rad/s.
func (t *Tracker) solve(y []float64, use []bool, s *sines) (dw float64, ok bool) {
	const m = 2*maxHarmonics + 1
	var a [m][m]float64
	var rhs, x [m]float64
	nh, beta := s.n, &s.beta
	old := *beta
	// With no amplitudes known the frequency's column is empty: two passes.
	mid := float64(len(y)-1) / 2
	w := 2 * math.Pi * s.freq
	step := cmplx.Exp(complex(0, w/t.front.outHz))
	for pass := range 2 {
		p := 2*nh + pass // unknowns
		if pass == 1 {
			copy(old[:2*nh], beta[:2*nh])
		}
		a, rhs = [m][m]float64{}, [m]float64{}
		u := cmplx.Exp(complex(0, -w*mid/t.front.outHz))
		for i, v := range y {
			if use[i] {
				z := u
				tt := (float64(i) - mid) / t.front.outHz
				var d float64
				for h := range nh {
					g := t.gains[h]
					x[2*h], x[2*h+1] = g*real(z), g*imag(z)
					if pass == 1 && h == 0 { // a harmonic may be mixed with the fold of a higher one
						d = tt * (-old[0]*x[1] + old[1]*x[0])
					}
					z *= u
				}
				x[2*nh] = d
				for r := range p {
					xr := x[r]
					row := &a[r]
					for c := 0; c <= r; c++ {
						row[c] += xr * x[c]
					}
					rhs[r] += xr * v
				}
			}
			u *= step
			if i&255 == 255 {
				u /= complex(cmplx.Abs(u), 0)
			}
		}
		if !cholesky(&a, &rhs, p) {
			return 0, false
		}
		copy(beta[:2*nh], rhs[:2*nh])
	}
	return rhs[2*nh], true
}

// cholesky solves a·x = b in place (lower triangle of a, first p unknowns).
func cholesky(a *[2*maxHarmonics + 1][2*maxHarmonics + 1]float64, b *[2*maxHarmonics + 1]float64, p int) bool {
	for i := range p {
		full := a[i][i]
		for j := 0; j <= i; j++ {
			s := a[i][j]
			for k := range j {
				s -= a[i][k] * a[j][k]
			}
			if i == j {
				if !(s > 1e-12*full) {
					return false
				}
				a[i][i] = math.Sqrt(s)
			} else {
				a[i][j] = s / a[j][j]
			}
		}
	}
	for i := range p {
		for k := range i {
			b[i] -= a[i][k] * b[k]
		}
		b[i] /= a[i][i]
	}
	for i := p - 1; i >= 0; i-- {
		for k := i + 1; k < p; k++ {
			b[i] -= a[k][i] * b[k]
		}
		b[i] /= a[i][i]
	}
	return true
}

// residual writes y less the fit to dst.
func (t *Tracker) residual(dst, y []float64, s *sines) {
	mid := float64(len(y)-1) / 2
	w := 2 * math.Pi * s.freq
	step := cmplx.Exp(complex(0, w/t.front.outHz))
	u := cmplx.Exp(complex(0, -w*mid/t.front.outHz))
	for i, v := range y {
		z := u
		for h := range s.n {
			v -= t.gains[h] * (s.beta[2*h]*real(z) + s.beta[2*h+1]*imag(z))
			z *= u
		}
		dst[i] = v
		u *= step
		if i&255 == 255 {
			u /= complex(cmplx.Abs(u), 0)
		}
	}
}
