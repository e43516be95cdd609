package beat

import "math"

// polarity tells whether a pulse goes up or down, from the skewness of its slope
// and of its height over the mean around. What the last seconds say
// (at most ±1) is averaged over a longer time, so that an artefact does not turn a
// signal round; at the start that time grows from nothing.
type polarity struct {
	// Immutable after init.
	p     polarityParams
	hann  []float64 // the mean around
	keep  float64   // of the moments, per sample
	lasts int       // samples for which the opposite must be said

	y        []float64 // ring
	n        int64
	prev     float64
	slope    moments
	height   moments
	said     float64 // mean of what was said
	saidN    float64 // samples in it, up to saidMax
	saidMax  float64
	opposite int
	sign     float64 // +1, −1; 0 until decided
}

// polarityParams are its numbers.
type polarityParams struct {
	meanSeconds   float64 // whole length of the Hann mean the height is taken over
	momentSeconds float64 // time constant of the moments
	saidSeconds   float64 // over which what they say is averaged
	clear         float64 // skewness that counts as saying something
	lastsSeconds  float64 // so long the opposite must be said
}

// moments are the second and third one, forgotten exponentially.
type moments struct {
	n, m2, m3 float64
}

// add takes a value; keep is 1 less the share of the newest once enough are in.
func (m *moments) add(x, keep float64) {
	m.n++
	keep = min(keep, 1-1/m.n)
	m.m2 = keep*m.m2 + (1-keep)*x*x
	m.m3 = keep*m.m3 + (1-keep)*x*x*x
}

func (m *moments) skewness() float64 {
	if !(m.m2 > 0) {
		return 0
	}
	return m.m3 / (m.m2 * math.Sqrt(m.m2))
}

func (p *polarity) init(q polarityParams, rateHz float64) {
	p.p = q
	m := int(math.Round(rateHz * q.meanSeconds / 2))
	sum := 0.0
	for i := -m + 1; i < m; i++ {
		w := 0.5 + 0.5*math.Cos(math.Pi*float64(i)/float64(m))
		p.hann = append(p.hann, w)
		sum += w
	}
	for i := range p.hann {
		p.hann[i] /= sum
	}
	p.keep = math.Exp(-1 / (q.momentSeconds * rateHz))
	p.lasts = int(q.lastsSeconds * rateHz)
	p.saidMax = q.saidSeconds * rateHz
	p.y = make([]float64, pow2(float64(len(p.hann))))
}

func (p *polarity) reset() {
	p.n, p.opposite, p.sign = 0, 0, 0
	p.said, p.saidN = 0, 0
	p.slope, p.height = moments{}, moments{}
}

// add takes a smoothed sample; decide tells that it is time to settle. It tells
// whether the sign has changed.
func (p *polarity) add(v float64, decide bool) bool {
	mask := int64(len(p.y) - 1)
	p.y[p.n&mask] = v
	p.n++
	if p.n >= int64(len(p.hann)) {
		h := p.y[(p.n-1-int64(len(p.hann)/2))&mask]
		for i, w := range p.hann {
			h -= w * p.y[(p.n-1-int64(i))&mask]
		}
		if p.n > int64(len(p.hann)) {
			p.slope.add(h-p.prev, p.keep)
			p.height.add(h, p.keep)
		}
		p.prev = h
	}
	if !decide {
		return false
	}
	s := p.slope.skewness() + p.height.skewness()
	if p.sign == 0 {
		p.sign = 1
		if s < 0 {
			p.sign = -1
		}
		return true
	}
	p.saidN = min(p.saidN+1, p.saidMax)
	p.said += (max(-1, min(s, 1)) - p.said) / p.saidN
	if p.said*p.sign > -p.p.clear {
		p.opposite = 0
		return false
	}
	if p.opposite++; p.opposite < p.lasts {
		return false
	}
	p.opposite = 0
	p.sign = -p.sign
	return true
}
