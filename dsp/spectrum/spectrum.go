// Package spectrum estimates power spectral densities by Welch's method:
// overlapping windowed segments, their periodograms averaged.
//
// Normalisation. Densities are one-sided: 2|X|²/(fs Σw²), in V²/Hz when the
// input is in volts, without the factor 2 at 0 Hz and at half the sample rate.
// White noise of variance σ² has the density 2σ²/fs; a sine of amplitude A
// shows A²/2 in [Density.Power], which is the density times the window's
// equivalent noise bandwidth. Windows are periodic (DFT-even).
//
// Nothing here is safe for concurrent use.
//
// Source: P. D. Welch, IEEE Trans. Audio Electroacoust. AU-15 (1967) 70–73;
// G. Heinzel, A. Rüdiger, R. Schilling, "Spectrum and spectral density
// estimation by the DFT" (2002), for the normalisation and window bandwidths.
package spectrum

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/window"
)

// Window names the taper put on each segment.
type Window string

const (
	Hann        Window = "hann"        // the default: good all round
	Hamming     Window = "hamming"     // lower first side lobe, slower decay
	Blackman    Window = "blackman"    // for a small line near a large one
	FlatTop     Window = "flattop"     // amplitude of a line within 0.01 dB
	Rectangular Window = "rectangular" // none
)

// Detrend says what is taken off each segment before the window.
type Detrend string

const (
	Constant Detrend = "constant" // the segment's mean; the default
	Linear   Detrend = "linear"   // its least-squares line
	None     Detrend = "none"     // nothing: the level leaks into the first bins
)

// maxHeld bounds the periodogram values that a running average keeps (64 MB).
const maxHeld = 8 << 20

// Config describes a Welch estimate. Zero values take the stated defaults.
type Config struct {
	// RateHz is the sample rate.
	RateHz float64
	// SegmentSamples is the segment's length, at least 2; 0 takes the power of two
	// that lasts nearest to two seconds. Bins are RateHz/SegmentSamples apart.
	SegmentSamples int
	// OverlapSamples is what a segment shares with the one before it, from 0 to
	// SegmentSamples−1. 0 takes half a segment; −1 means no overlap.
	OverlapSamples int
	Window         Window  // default Hann
	Detrend        Detrend // default Constant
	// AverageSeconds is how far back a running average reaches: the newest
	// segments that begin within it, at least one. 0 averages everything since
	// New or Reset. Only Welch looks at it.
	AverageSeconds float64
}

// Density is a one-sided power spectral density.
type Density struct {
	// RateHz is the sample rate, BinHz the distance of the bins.
	RateHz, BinHz float64
	// BandwidthHz is the window's equivalent noise bandwidth in hertz.
	BandwidthHz float64
	// Averages is how many segments were averaged; 0 means that there are none yet
	// and V2PerHz is all zero.
	Averages int
	// V2PerHz is the density of bin i at i·BinHz, from 0 to half the rate.
	V2PerHz []float64
}

// FreqHz is the centre of bin i.
func (d *Density) FreqHz(i int) float64 { return float64(i) * d.BinHz }

// Power is bin i's power in the window's bandwidth, V²: A²/2 for a sine of
// amplitude A at the bin's centre.
func (d *Density) Power(i int) float64 { return d.V2PerHz[i] * d.BandwidthHz }

// RootHz writes the amplitude density √V2PerHz (V/√Hz) to dst, which has the
// length of V2PerHz or is nil, and returns it.
func (d *Density) RootHz(dst []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(d.V2PerHz))
	}
	if len(dst) != len(d.V2PerHz) {
		panic("spectrum: RootHz: length of dst")
	}
	for i, v := range d.V2PerHz {
		dst[i] = math.Sqrt(v)
	}
	return dst
}

// BandPower is the power (V²) between two frequencies in hertz: each bin reaches
// half a bin to both sides, the first and the last only inwards.
func (d *Density) BandPower(lowHz, highHz float64) float64 {
	var sum float64
	for i, v := range d.V2PerHz {
		f := d.FreqHz(i)
		a := math.Max(lowHz, math.Max(0, f-d.BinHz/2))
		b := math.Min(highHz, math.Min(d.RateHz/2, f+d.BinHz/2))
		if b > a {
			sum += v * (b - a)
		}
	}
	return sum
}

// engine computes one segment's periodogram.
type engine struct {
	cfg   Config
	w     []float64
	scale float64 // 2/(fs Σw²)
	enbw  float64 // hertz
	fft   *power
	seg   []float64
}

func newEngine(cfg Config) (*engine, error) {
	if !(cfg.RateHz > 0) || math.IsInf(cfg.RateHz, 0) {
		return nil, fmt.Errorf("spectrum: sample rate %v Hz: it must be above 0 and finite", cfg.RateHz)
	}
	if cfg.SegmentSamples == 0 {
		cfg.SegmentSamples = 1 << max(1, int(math.Round(math.Log2(2*cfg.RateHz))))
	}
	n := cfg.SegmentSamples
	if n < 2 {
		return nil, fmt.Errorf("spectrum: segment of %d samples: it must have at least 2", n)
	}
	switch {
	case cfg.OverlapSamples == 0:
		cfg.OverlapSamples = n / 2
	case cfg.OverlapSamples == -1:
		cfg.OverlapSamples = 0
	case cfg.OverlapSamples < -1 || cfg.OverlapSamples >= n:
		return nil, fmt.Errorf("spectrum: overlap of %d samples: it must be below the segment's %d", cfg.OverlapSamples, n)
	}
	if cfg.Detrend == "" {
		cfg.Detrend = Constant
	}
	if cfg.Detrend != Constant && cfg.Detrend != Linear && cfg.Detrend != None {
		return nil, fmt.Errorf("spectrum: detrend %q is unknown; use constant, linear or none", cfg.Detrend)
	}
	if !(cfg.AverageSeconds >= 0) || math.IsInf(cfg.AverageSeconds, 0) {
		return nil, fmt.Errorf("spectrum: average over %v s: it must be 0 (everything) or more", cfg.AverageSeconds)
	}
	if cfg.Window == "" {
		cfg.Window = Hann
	}
	w, err := taper(cfg.Window, n)
	if err != nil {
		return nil, err
	}
	var s1, s2 float64
	for _, v := range w {
		s1 += v
		s2 += v * v
	}
	return &engine{
		cfg: cfg, w: w, scale: 2 / (cfg.RateHz * s2), enbw: cfg.RateHz * s2 / (s1 * s1),
		fft: newPower(n), seg: make([]float64, n),
	}, nil
}

// taper is the periodic window of n samples: the symmetric one of n+1 without
// its last sample.
func taper(name Window, n int) ([]float64, error) {
	w := make([]float64, n+1)
	for i := range w {
		w[i] = 1
	}
	switch name {
	case Hann:
		window.Hann(w)
	case Hamming:
		window.Hamming(w)
	case Blackman:
		window.Blackman(w)
	case FlatTop:
		window.FlatTop(w)
	case Rectangular:
	default:
		return nil, fmt.Errorf("spectrum: window %q is unknown; use hann, hamming, blackman, flattop or rectangular", name)
	}
	return w[:n], nil
}

// ENBW is a window's equivalent noise bandwidth in bins, n Σw²/(Σw)², for a
// segment of n ≥ 2 samples; NaN for a window that is unknown.
func ENBW(name Window, n int) float64 {
	w, err := taper(name, n)
	if err != nil || n < 2 {
		return math.NaN()
	}
	var s1, s2 float64
	for _, v := range w {
		s1 += v
		s2 += v * v
	}
	return float64(n) * s2 / (s1 * s1)
}

// periodogram fills e.seg's density into dst. e.seg is spoilt.
func (e *engine) periodogram(dst []float64) {
	n := len(e.seg)
	switch e.cfg.Detrend {
	case Constant:
		mean := sum(e.seg) / float64(n)
		for i := range e.seg {
			e.seg[i] -= mean
		}
	case Linear:
		// Least squares on t = i − (n−1)/2, whose Σt² = n(n²−1)/12.
		var mean, slope float64
		mid := float64(n-1) / 2
		for i, v := range e.seg {
			mean += v
			slope += (float64(i) - mid) * v
		}
		mean /= float64(n)
		slope /= float64(n) * (float64(n)*float64(n) - 1) / 12
		for i := range e.seg {
			e.seg[i] -= mean + slope*(float64(i)-mid)
		}
	}
	for i, w := range e.w {
		e.seg[i] *= w
	}
	e.fft.of(dst, e.seg, e.scale)
	dst[0] /= 2
	if n%2 == 0 {
		dst[len(dst)-1] /= 2
	}
}

// sum adds up by fours, so that no addition waits for the one before.
func sum(x []float64) float64 {
	var a, b, c, d float64
	for ; len(x) >= 4; x = x[4:] {
		a, b, c, d = a+x[0], b+x[1], c+x[2], d+x[3]
	}
	for _, v := range x {
		a += v
	}
	return (a + b) + (c + d)
}

func (e *engine) blank(dst *Density) {
	n := len(e.seg)
	dst.RateHz = e.cfg.RateHz
	dst.BinHz = e.cfg.RateHz / float64(n)
	dst.BandwidthHz = e.enbw
	dst.Averages = 0
	if cap(dst.V2PerHz) < n/2+1 {
		dst.V2PerHz = make([]float64, n/2+1)
	}
	dst.V2PerHz = dst.V2PerHz[:n/2+1]
	clear(dst.V2PerHz)
}

// Welch is the density of a running signal.
//
// Calls of Process on pieces equal one call on the whole. A segment that holds a
// NaN or an infinity is left out and counted. Memory is bounded at New.
type Welch struct {
	e       *engine
	buf     []float64 // the segment being filled
	fill    int
	bad     int         // samples until the buffer holds no value that is not finite
	one     []float64   // newest periodogram, when everything is averaged
	held    [][]float64 // ring of periodograms of a running average
	next    int
	count   int // segments in held, or averaged since Reset
	skipped int
}

// New makes a running estimate. A running average that would hold more than
// 64 MB is refused.
func New(cfg Config) (*Welch, error) {
	e, err := newEngine(cfg)
	if err != nil {
		return nil, err
	}
	n := e.cfg.SegmentSamples
	bins := n/2 + 1
	w := &Welch{e: e, buf: make([]float64, n)}
	if cfg.AverageSeconds == 0 {
		w.held = [][]float64{make([]float64, bins)} // a sum
		w.one = make([]float64, bins)
		return w, nil
	}
	k := max(1, int(math.Floor(cfg.AverageSeconds*cfg.RateHz-float64(n)))/(n-e.cfg.OverlapSamples)+1)
	if k*bins > maxHeld {
		return nil, fmt.Errorf("spectrum: an average over %v s holds %d values, more than %d; take a shorter average or less overlap", cfg.AverageSeconds, k*bins, maxHeld)
	}
	w.held = make([][]float64, k)
	for i := range w.held {
		w.held[i] = make([]float64, bins)
	}
	return w, nil
}

// Process takes in samples in volts. It allocates nothing.
func (w *Welch) Process(src []float64) {
	n := len(w.buf)
	for len(src) > 0 {
		m := copy(w.buf[w.fill:], src)
		for i, v := range src[:m] {
			if v-v != 0 { // not finite
				w.bad = w.fill + i + 1
			}
		}
		src = src[m:]
		if w.fill += m; w.fill == n {
			w.segment()
		}
	}
}

func (w *Welch) segment() {
	if w.bad > 0 {
		w.skipped++
	} else {
		copy(w.e.seg, w.buf)
		if w.one != nil {
			w.e.periodogram(w.one)
			for i, v := range w.one {
				w.held[0][i] += v
			}
			w.count++
		} else {
			w.e.periodogram(w.held[w.next])
			w.next = (w.next + 1) % len(w.held)
			w.count = min(w.count+1, len(w.held))
		}
	}
	hop := len(w.buf) - w.e.cfg.OverlapSamples
	copy(w.buf, w.buf[hop:])
	w.fill = len(w.buf) - hop
	w.bad = max(0, w.bad-hop)
}

// Reset forgets everything, as after a gap in the signal.
func (w *Welch) Reset() {
	w.fill, w.bad, w.next, w.count, w.skipped = 0, 0, 0, 0, 0
	if w.one != nil {
		clear(w.held[0])
	}
}

// Skipped is the number of segments left out since Reset for values that were
// not finite.
func (w *Welch) Skipped() int { return w.skipped }

// Density writes the present average to dst, whose slice is reused when it is
// large enough.
func (w *Welch) Density(dst *Density) {
	w.e.blank(dst)
	dst.Averages = w.count
	if w.count == 0 {
		return
	}
	sets := w.held
	if w.one == nil {
		sets = w.held[:w.count]
	}
	for _, set := range sets {
		for i, v := range set {
			dst.V2PerHz[i] += v
		}
	}
	for i := range dst.V2PerHz {
		dst.V2PerHz[i] /= float64(w.count)
	}
}

// SegmentNear is the power of two nearest to a time at a sample rate, at least 16
// samples. Bins are then between 1.5/seconds and 0.75/seconds apart.
func SegmentNear(seconds, rateHz float64) int {
	n := 16
	for float64(n)*1.5 < seconds*rateHz {
		n *= 2
	}
	return n
}

// Of is the density of a whole signal in volts: the average over all full
// segments; samples after the last one are not used. It is an error when x is
// shorter than a segment or holds a value that is not finite.
func Of(cfg Config, x []float64) (Density, error) {
	cfg.AverageSeconds = 0
	w, err := New(cfg)
	if err != nil {
		return Density{}, err
	}
	if len(x) < len(w.buf) {
		return Density{}, fmt.Errorf("spectrum: signal of %d samples is shorter than the segment of %d; take shorter segments", len(x), len(w.buf))
	}
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Density{}, fmt.Errorf("spectrum: sample %d is %v: cut the signal at values that are not finite", i, v)
		}
	}
	w.Process(x)
	var d Density
	w.Density(&d)
	return d, nil
}
