package filter

import (
	"fmt"
	"math"
)

// The decimator's bands, as shares of the output rate, and its ripple.
const (
	// DecimatorPass: up to here the gain is 1 within 0.001 dB.
	DecimatorPass = 0.4
	// DecimatorStop: from here on (half the output rate) the gain is below −80 dB,
	// so that nothing folds back, into any frequency.
	DecimatorStop = 0.5
	// DecimatorDelay is the delay in output samples, for every ratio.
	DecimatorDelay = 28
	// decimatorBeta is Kaiser's β for 85 dB, 0.1102 (A − 8.7) (Kaiser 1974); taps
	// follow as (A − 7.95)/(2.285 Δω) = 53.7 per ratio, here 56, a whole delay of 28.
	decimatorBeta = 0.1102 * (85 - 8.7)
	// MaxRatio is the highest ratio, 192 kHz to 1 kHz with room to spare.
	MaxRatio = 400
)

// RatioFor is the decimation that brings a rate to about 1 kHz; 1 (none) for
// rates up to 4 kHz. 44.1 kHz by 44 is 1002.27 Hz.
func RatioFor(rateHz float64) int {
	if !(rateHz > 4000) {
		return 1
	}
	return int(math.Round(rateHz / 1000))
}

// Decimator lowers the sample rate by a whole ratio, with a linear-phase
// low-pass before it.
//
// Output sample j is computed when input sample j·ratio arrives and shows the
// signal at input sample (j − 28)·ratio: the delay is 28 output samples at every
// frequency. The first sample after New or Reset is taken as if it had stood for
// ever. Pieces give the same as the whole, bit for bit; nothing is allocated.
// Ratio 1 copies, without delay. Not safe for concurrent use.
//
// One stage computed only where an output is due (polyphase), pairs of equal
// taps folded: half a multiplication per tap and output, 28 per input sample at
// any ratio. Several stages would save work but no delay, since the last,
// narrowest one makes nearly all of it.
type Decimator struct {
	// Immutable after NewDecimator.
	ratio  int
	rateHz float64
	half   []float64 // taps from the first to the middle one

	buf     []float64 // the last len(taps) inputs and some more
	end     int       // of the samples in buf
	due     int       // inputs until the next output
	started bool
}

// NewDecimator makes a decimator for an input rate of 25 to 192000 Hz and a ratio
// of 1 to 400.
func NewDecimator(rateHz float64, ratio int) (*Decimator, error) {
	if err := checkRate("decimator", rateHz); err != nil {
		return nil, err
	}
	if ratio < 1 || ratio > MaxRatio {
		return nil, fmt.Errorf("filter: decimator: ratio %d; must be 1 to %d", ratio, MaxRatio)
	}
	d := &Decimator{ratio: ratio, rateHz: rateHz}
	if ratio > 1 {
		d.half = kaiserHalf(DecimatorDelay*ratio, (DecimatorPass+DecimatorStop)/2/float64(ratio), decimatorBeta)
		taps := 2*len(d.half) - 1
		d.buf = make([]float64, taps+max(4096, 4*ratio))
	}
	return d, nil
}

// kaiserHalf is the first m+1 of 2m+1 taps of a windowed-sinc low-pass with its
// −6 dB point at cycles per sample, gain 1 at 0 Hz.
func kaiserHalf(m int, cycles, beta float64) []float64 {
	h := make([]float64, m+1)
	sum := 0.0
	for i := range h {
		t := float64(i - m)
		v := 2 * cycles
		if t != 0 {
			v = math.Sin(2*math.Pi*cycles*t) / (math.Pi * t)
		}
		r := t / float64(m)
		v *= besselI0(beta*math.Sqrt(1-r*r)) / besselI0(beta)
		h[i] = v
		sum += 2 * v
	}
	sum -= h[m]
	for i := range h {
		h[i] /= sum
	}
	return h
}

// besselI0 is the modified Bessel function of order 0, by its power series
// (Abramowitz and Stegun 9.6.12).
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= (x / 2 / k) * (x / 2 / k)
		sum += term
	}
	return sum
}

// OutLen is how many samples Process will give for the next n.
func (d *Decimator) OutLen(n int) int {
	if n <= d.due {
		return 0
	}
	return (n-d.due-1)/d.ratio + 1
}

// Process decimates src into dst and gives the number of samples written,
// OutLen(len(src)), at most len(src)/ratio + 1. It panics when dst is too short.
// dst may begin where src does; otherwise they are disjoint.
func (d *Decimator) Process(dst, src []float64) int {
	if n := d.OutLen(len(src)); len(dst) < n {
		panic(fmt.Sprintf("filter: Decimator.Process: dst has %d samples; must have %d", len(dst), n))
	}
	if d.ratio == 1 {
		return copy(dst, src)
	}
	if len(src) == 0 {
		return 0
	}
	taps := 2*len(d.half) - 1
	if !d.started {
		d.started = true
		for i := range taps - 1 {
			d.buf[i] = src[0]
		}
		d.end = taps - 1
	}
	out := 0
	for len(src) > 0 {
		if d.end == len(d.buf) {
			d.end = copy(d.buf, d.buf[d.end-(taps-1):])
		}
		n := copy(d.buf[d.end:], src)
		// The outputs due within these n samples.
		for d.due < n {
			last := d.end + d.due
			dst[out] = d.dot(d.buf[last-taps+1 : last+1])
			out++
			d.due += d.ratio
		}
		d.due -= n
		d.end += n
		src = src[n:]
	}
	return out
}

// dot folds the window at its middle; four sums, so that additions overlap.
func (d *Decimator) dot(w []float64) float64 {
	h := d.half
	m := len(h) - 1
	front, back := w[:m], w[m+1:]
	back = back[:len(front)]
	h2 := h[:len(front)]
	var s0, s1, s2, s3 float64
	i, j := 0, len(front)-1
	for ; i+3 < len(front); i, j = i+4, j-4 {
		s0 += h2[i] * (front[i] + back[j])
		s1 += h2[i+1] * (front[i+1] + back[j-1])
		s2 += h2[i+2] * (front[i+2] + back[j-2])
		s3 += h2[i+3] * (front[i+3] + back[j-3])
	}
	for ; i < len(front); i, j = i+1, j-1 {
		s0 += h2[i] * (front[i] + back[j])
	}
	return (s0 + s1) + (s2 + s3) + h[m]*w[m]
}

// Reset forgets the past; the next input sample is due for an output.
func (d *Decimator) Reset() { d.started, d.due = false, 0 }

// Restart forgets the past, as Reset does, but the next output stays due when it was:
// the outputs keep their places in a signal with a gap.
func (d *Decimator) Restart() { d.started = false }

// Skip is as if n more inputs had come, and forgets the past.
func (d *Decimator) Skip(n int64) {
	d.started = false
	r := int64(d.ratio)
	d.due = int(((int64(d.due)-n)%r + r) % r)
}

// Ratio is input samples per output sample.
func (d *Decimator) Ratio() int { return d.ratio }

// OutRateHz is the output rate.
func (d *Decimator) OutRateHz() float64 { return d.rateHz / float64(d.ratio) }

// DelaySamples is the delay in output samples.
func (d *Decimator) DelaySamples() int {
	if d.ratio == 1 {
		return 0
	}
	return DecimatorDelay
}

// DelaySeconds is the delay at every frequency.
func (d *Decimator) DelaySeconds() float64 { return float64(d.DelaySamples()) / d.OutRateHz() }

// Taps are the low-pass's coefficients, symmetrical about the middle one.
func (d *Decimator) Taps() []float64 {
	if d.ratio == 1 {
		return []float64{1}
	}
	m := len(d.half) - 1
	taps := make([]float64, 2*m+1)
	for i, h := range d.half {
		taps[i], taps[2*m-i] = h, h
	}
	return taps
}

// Response is the complex gain of the low-pass at freqHz, from 0 to half the
// input rate; above half the output rate it is the gain of what folds back.
func (d *Decimator) Response(freqHz float64) complex128 {
	if d.ratio == 1 {
		return 1
	}
	m := len(d.half) - 1
	w := 2 * math.Pi * freqHz / d.rateHz
	sum := d.half[m]
	for i := range m {
		sum += 2 * d.half[i] * math.Cos(w*float64(m-i))
	}
	s, c := math.Sincos(-w * float64(m))
	return complex(sum*c, sum*s)
}
