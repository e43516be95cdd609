package beat

import (
	"math"

	"pulsewright/dsp/filter"
)

// ecgFront makes of the input a signal of 300 samples a second without spikes, hum and
// what lies above the QRS. All its steps are symmetric in time or all but so.
//
// A mean over k inputs brings a fast one to 500 Hz or more. A short running median takes
// off the spikes of a pacemaker. A low-pass keeps the resampling clean. Then a mean over
// 20 ms, which has no part of 50 Hz or its harmonics, and one over 16.7 ms, which has none
// of 60 Hz: at 300 Hz six and five samples. That is why the rate is 300 Hz.
type ecgFront struct {
	// Immutable after newECGFront.
	p      frontParams
	mean   int     // inputs averaged
	half   int     // of the median, 0 for none
	ratio  float64 // means per sample made
	low    *filter.Cascade
	smooth [smoothTaps]float64 // both means
	sharp  [sharpTaps]float64  // both means and what gives narrow waves their height back
	delay  float64             // of made sample j in time, samples of 300 Hz

	sum   float64
	n     int // in sum
	taps  [2*medianMax + 1]float64
	taken int64   // means taken
	off   float64 // usual distance of a value from the median about it
	learn float64
	tap   [4]float64
	low4  int64 // low-passed values
	next  int64 // samples made
	chunk [ecgChunk]float64
	raw   [frontRing]float64 // the last means
	ring  [16]float64
}

const (
	ecgRateHz  = 300
	smoothTaps = 10
	sharpTaps  = 12
	medianMax  = 3
	frontRing  = 16384 // means kept
	ecgChunk   = 256
)

// frontParams are the front's numbers; times in seconds, shares plain. What is held
// against them is the raw input, where a fault shows best.
type frontParams struct {
	medianHalf  float64 // the running median takes so much to either side
	medianTimes float64 // and replaces what is so many times as far from it as usual,
	medianLearn float64 // usual being learned over this
	lowPassHz   float64
	tipNear     float64 // the height is the greatest so near to R,
	baseSeconds float64 // less the mean over so long from reachSeconds on, to either side
	railSeconds float64 // so near to a candidate
	railShare   float64 // more than this share at the two ends
	railEach    float64 // and this share at each is from rail to rail
	spikeHalf   float64 // what a median with so much to either side takes away
	spikeNear   float64 // so near to a candidate
	spikeTimes  float64 // is a spike if it is so many times what it takes away
	spikeFrom   float64 // so long before it
	spikeTo     float64 // up to this,
	spikeRange  float64 // and what the median leaves has less than this share of it
}

func defaultFrontParams() frontParams {
	return frontParams{medianHalf: 0.003, medianTimes: 8, medianLearn: 0.5, lowPassHz: 40, tipNear: 0.016, baseSeconds: 0.04,
		railSeconds: 0.2, railShare: 0.4, railEach: 0.05, spikeHalf: 0.0105, spikeNear: 0.05, spikeTimes: 2, spikeFrom: 0.25,
		spikeTo: 0.1, spikeRange: 0.3}
}

func newECGFront(rateHz float64) (*ecgFront, error) {
	f := &ecgFront{p: defaultFrontParams(), mean: max(int(rateHz/500), 1)}
	rate := rateHz / float64(f.mean)
	f.half = min(max(int(math.Round(f.p.medianHalf*rate)), 1), medianMax)
	f.ratio = rate / ecgRateHz
	f.learn = 1 / (f.p.medianLearn * rate)
	lp, err := filter.ButterworthLowPass(rate, min(f.p.lowPassHz, 0.4*rate), 4)
	if err != nil {
		return nil, err
	}
	if f.low, err = filter.NewCascade(lp, rate); err != nil {
		return nil, err
	}
	for i := range 6 {
		for k := range 5 {
			f.smooth[i+k] += 1. / 30
		}
	}
	// A mean over T lowers a frequency w by 1 − (wT)²/24; both by 1 − w²·c/2 with
	// c = (20² + 16.7²)/12 ms². Less c/2 times the second difference, in samples, the
	// height of waves up to about 25 Hz is left as it is, and hum is still gone.
	c := (36. - 1 + 25 - 1) / 12 / 2
	for i, v := range f.smooth {
		f.sharp[i] -= c * v
		f.sharp[i+1] += (1 + 2*c) * v
		f.sharp[i+2] -= c * v
	}
	f.delay = (float64(f.half)+f.low.GroupDelaySamples(12)-float64(f.mean-1)/2/float64(f.mean))/f.ratio + float64(smoothTaps-1)/2
	return f, nil
}

func (f *ecgFront) reset() {
	f.low.Reset()
	f.n, f.sum, f.taken, f.low4, f.next = 0, 0, 0, 0, 0
	f.off = 0
}

// process gives each made sample to step: smoothed and sharpened one, which is half a
// sample older (see ecgSharpLate).
func (f *ecgFront) process(src []float64, step func(a, s float64)) {
	for len(src) > 0 {
		n := 0
		for len(src) > 0 && n < ecgChunk {
			f.sum += src[0]
			src = src[1:]
			if f.n++; f.n < f.mean {
				continue
			}
			v := f.sum / float64(f.mean)
			f.sum, f.n = 0, 0
			f.chunk[n] = f.median(v)
			n++
		}
		f.low.Process(f.chunk[:n], f.chunk[:n])
		for _, v := range f.chunk[:n] {
			f.resample(v, step)
		}
	}
}

// median is the running one of the last 2·half+1.
func (f *ecgFront) median(v float64) float64 {
	w := 2*f.half + 1
	if f.taken == 0 {
		for i := range w {
			f.taps[i] = v
		}
	}
	f.taps[f.taken%int64(w)] = v
	f.raw[f.taken%frontRing] = v
	f.taken++
	switch f.half {
	case 1:
		return f.spike(max(min(f.taps[0], f.taps[1]), min(max(f.taps[0], f.taps[1]), f.taps[2])))
	}
	var s [2*medianMax + 1]float64
	for i, x := range f.taps[:w] {
		k := i
		for ; k > 0 && s[k-1] > x; k-- {
			s[k] = s[k-1]
		}
		s[k] = x
	}
	return f.spike(s[f.half])
}

// spike gives the median instead of the sample in the middle only where they differ far
// more than usual: hum, too, differs from its median.
func (f *ecgFront) spike(median float64) float64 {
	v := f.taps[(f.taken-1-int64(f.half)+int64(2*f.half+1))%int64(2*f.half+1)]
	off := math.Abs(v - median)
	if off > f.p.medianTimes*f.off {
		v = median
		off = min(off, f.p.medianTimes*f.off)
	}
	f.off += (off - f.off) * f.learn
	f.off = max(f.off, 1e-30)
	return v
}

func (f *ecgFront) resample(v float64, step func(a, s float64)) {
	if f.low4 == 0 {
		f.tap = [4]float64{v, v, v, v}
	}
	f.tap[0], f.tap[1], f.tap[2], f.tap[3] = f.tap[1], f.tap[2], f.tap[3], v
	f.low4++
	// Samples between tap[1] (value low4−3) and tap[2].
	for {
		at := float64(f.next) * f.ratio
		whole := math.Floor(at)
		if int64(whole) > f.low4-3 {
			return
		}
		u := cubic(&f.tap, at-whole)
		if f.next == 0 {
			for i := range f.ring {
				f.ring[i] = u
			}
		}
		f.ring[f.next&15] = u
		var a, s float64
		for i, c := range f.smooth {
			a += c * f.ring[(f.next-int64(i))&15]
		}
		for i, c := range f.sharp {
			s += c * f.ring[(f.next-int64(i))&15]
		}
		f.next++
		step(a, s)
	}
}

// cubic interpolates between t[1] and t[2] (Catmull and Rom 1974).
func cubic(t *[4]float64, x float64) float64 {
	return t[1] + 0.5*x*(t[2]-t[0]+x*(2*t[0]-5*t[1]+4*t[2]-t[3]+x*(3*(t[1]-t[2])+t[3]-t[0])))
}

// input is the input sample at which made sample j, a fraction maybe, stands.
func (f *ecgFront) input(j float64) int64 {
	return int64(math.Round((j - f.delay) * f.ratio * float64(f.mean)))
}

// height is the raw input's about made sample j, over the middle of its means 80 to 120 ms
// before and after, two cycles of 50 Hz hum each; sign says which way R points.
func (f *ecgFront) height(j, sign float64) float64 {
	mid, rate := int64(math.Round((j-f.delay)*f.ratio)), f.ratio*ecgRateHz
	oldest := max(f.taken-frontRing, 0)
	at := func(i int64) float64 { return f.raw[min(max(i, oldest), f.taken-1)%frontRing] }
	span := func(seconds float64) int64 { return int64(math.Round(seconds * rate)) }
	best := mid
	for i := mid - span(f.p.tipNear); i <= mid+span(f.p.tipNear); i++ {
		if sign*at(i) > sign*at(best) {
			best = i
		}
	}
	base, n := 0.0, 0.0
	for k := span(reachSeconds); k < span(reachSeconds+f.p.baseSeconds); k++ {
		base += at(mid-k) + at(mid+k)
		n += 2
	}
	return at(best) - base/n
}

// fault says why the raw input about made sample j is no QRS at all, "" if it may be one.
func (f *ecgFront) fault(j float64) string {
	mid, rate := int64(math.Round((j-f.delay)*f.ratio)), f.ratio*ecgRateHz
	oldest := max(f.taken-frontRing, 0)
	at := func(i int64) float64 { return f.raw[min(max(i, oldest), f.taken-1)%frontRing] }
	span := func(seconds float64) int64 { return int64(math.Round(seconds * rate)) }
	// Thrown from rail to rail, or nothing but a converter's two values.
	low, high := math.Inf(1), math.Inf(-1)
	for i := mid - span(f.p.railSeconds); i <= mid+span(f.p.railSeconds); i++ {
		low, high = min(low, at(i)), max(high, at(i))
	}
	lows, highs, all := 0.0, 0.0, 0.0
	for i := mid - span(f.p.railSeconds); i <= mid+span(f.p.railSeconds); i++ {
		v := at(i)
		all++
		if v == low {
			lows++
		} else if v == high {
			highs++
		}
	}
	if lows+highs > f.p.railShare*all && min(lows, highs) > f.p.railEach*all || low == high {
		return "clipped: from rail to rail"
	}
	// What a running median of 21 ms leaves is wider than half of that.
	stride := max(int64(rate/500), 1)
	half := max(int(math.Round(f.p.spikeHalf*rate/float64(stride))), 1)
	var w [32]float64
	median := func(i int64) float64 {
		n := 0
		for k := -half; k <= half; k++ {
			v := at(i + int64(k)*stride)
			m := n
			for ; m > 0 && w[m-1] > v; m-- {
				w[m] = w[m-1]
			}
			w[m] = v
			n++
		}
		return w[half]
	}
	taken := 0.0
	low, high = math.Inf(1), math.Inf(-1)
	for i := mid - span(f.p.spikeNear); i <= mid+span(f.p.spikeNear); i += stride {
		m := median(i)
		low, high = min(low, m), max(high, m)
		taken = max(taken, math.Abs(at(i)-m))
	}
	if high-low >= f.p.spikeRange*taken {
		return ""
	}
	usual := 0.0
	for i := mid - span(f.p.spikeFrom); i <= mid-span(f.p.spikeTo); i += stride {
		usual = max(usual, math.Abs(at(i)-median(i)))
	}
	if taken > f.p.spikeTimes*usual {
		return "a spike: too narrow for a QRS"
	}
	return ""
}
