package variability

import (
	"fmt"
	"math"

	"pulsewright/dsp/beat"
)

// moments are a running mean and variance (Welford 1962, Technometrics 4: 419–420).
type moments struct {
	n        int
	mean, m2 float64
}

func (m *moments) add(x float64) {
	m.n++
	d := x - m.mean
	m.mean += d / float64(m.n)
	m.m2 += d * (x - m.mean)
}

// sd is the standard deviation with n−1, NaN of fewer than two.
func (m *moments) sd() float64 {
	if m.n < 2 {
		return math.NaN()
	}
	return math.Sqrt(m.m2 / float64(m.n-1))
}

// roundingSeconds is less than any sample and more than the errors of floating-point times: a difference of exactly
// 50 ms, 18 samples of 360 Hz, is none of more than 50 ms.
const roundingSeconds = 1e-9

// sums hold what the measures of a stretch need, whatever its length: each
// interval costs the same, and the spectrum of each five minutes is worked out once.
type sums struct {
	span, used             float64
	normal, ectopic, wrong int // wrong: unsure
	gaps                   int

	nn       moments
	square   float64 // Σ of squared successive differences
	pairs    int
	over50   int
	across   moments // of x + y over pairs, for SD2
	previous float64
	joined   bool // previous is the neighbour

	histogram histogram

	// Five-minute segments, counted from the stretch's first beat.
	part      segmentPoints
	partNN    moments
	partUsed  float64
	segments  int // closed
	means     moments
	deviation moments
	powers    [3]float64 // sums over segments with a spectrum
	spectra   int
}

// add takes the next interval.
func (s *sums) add(iv Interval) {
	length := iv.Seconds
	if !(length >= 0) || math.IsInf(length, 1) {
		length = 0
	}
	s.span += length
	switch iv.Mark {
	case Normal:
		x := iv.Seconds
		s.normal++
		s.used += x
		s.nn.add(x)
		s.partNN.add(x)
		s.partUsed += x
		s.histogram.add(x)
		s.part.add(s.span, x)
		if s.joined {
			d := x - s.previous
			s.square += d * d
			s.pairs++
			if math.Abs(d) > 0.05+roundingSeconds {
				s.over50++
			}
			s.across.add(x + s.previous)
		}
		s.previous, s.joined = x, true
	case Ectopic:
		s.ectopic++
		s.joined = false
	case Unsure:
		s.wrong++
		s.joined = false
	default:
		s.gaps++
		s.joined = false
	}
	if s.span >= segment*float64(s.segments+1) {
		s.closeSegment()
	}
}

// closeSegment ends five minutes. A gap may hold several ends: what lies in it is
// no segment.
func (s *sums) closeSegment() {
	if s.partUsed >= usedShare*segment {
		s.means.add(s.partNN.mean)
		s.deviation.add(s.partNN.sd())
		p := s.part.bands()
		for i := range p {
			s.powers[i] += p[i]
		}
		s.spectra++
	}
	s.segments = int(s.span / segment)
	s.part.reset()
	s.partNN, s.partUsed = moments{}, 0
}

// fork is a copy that goes its own way.
func (s *sums) fork() sums {
	c := *s
	c.part = s.part.clone()
	return c
}

// report gives the measures.
func (s *sums) report(kind beat.Kind, timing float64) Report {
	all := s.normal + s.ectopic + s.wrong
	r := Report{Name: name(kind), SpanSeconds: s.span, UsedSeconds: s.used, Intervals: all, Used: s.normal, Ectopic: s.ectopic, Unsure: s.wrong, Gaps: s.gaps, TimingSeconds: timing}
	if all > 0 {
		r.LeftOutShare = float64(s.ectopic+s.wrong) / float64(all)
	}
	mean := 0.0
	if s.normal > 0 {
		mean = s.nn.mean
	}
	put := func(id, name, unit string, need, value float64, caveat string) {
		m := Measure{ID: id, Name: name, Unit: unit, NeededSeconds: need}
		switch {
		case all == 0:
			m.Absent = "no intervals yet"
		case s.span < need-edgeBeats*mean:
			m.Absent = fmt.Sprintf("needs %s of beats; there are %s", span(need), span(s.span))
		case s.used < usedShare*s.span:
			m.Absent = fmt.Sprintf("needs at least %.0f %% of the time in normal intervals; there is %.0f %%", 100*usedShare, 100*s.used/s.span)
		case math.IsNaN(value) || math.IsInf(value, 0):
			m.Absent = "too few normal intervals in a row"
		default:
			m.Value, m.Caveat = &value, caveat
		}
		r.Measures = append(r.Measures, m)
	}
	// Times rounded to a step T: uniform errors of T²/12 on each beat.
	rmssd := math.Sqrt(s.square / float64(s.pairs)) // NaN of none
	rounded := ""
	if floor := timing / math.Sqrt2; floor > 0.2*rmssd {
		rounded = fmt.Sprintf("the beats' times are whole samples of %.3g ms, which alone makes an RMSSD of about %.2g ms", 1000*timing, 1000*floor)
	}
	put("meanNN", "Mean NN interval", "s", needMean, s.nn.mean, "")
	put("meanRate", "Mean rate", "1/min", needMean, 60/s.nn.mean, "")
	put("rmssd", "RMSSD", "s", needSuccess, rmssd, rounded)
	put("pnn50", "pNN50", "%", needSuccess, 100*float64(s.over50)/float64(s.pairs), "")
	put("sd1", "SD1", "s", needSuccess, rmssd/math.Sqrt2, rounded)
	longer := ""
	if s.span > 2*needShort {
		longer = "grows with the length of the stretch: compare stretches of one length only"
	}
	put("sdnn", "SDNN", "s", needShort, s.nn.sd(), longer)
	put("sd2", "SD2", "s", needShort, s.across.sd()/math.Sqrt2, longer)
	powers, spectra := s.powers, s.spectra
	if s.segments == 0 && s.span >= needShort-edgeBeats*mean && s.partUsed >= usedShare*segment {
		powers, spectra = s.part.bands(), 1 // five minutes but for the beats at the ends
	}
	power := func(i int) float64 {
		if spectra == 0 {
			return math.NaN()
		}
		return powers[i] / float64(spectra)
	}
	high := ""
	if s.nn.mean > 1/(2*bandEdges[3]) {
		high = fmt.Sprintf("the heart beats too slowly for it: nothing above %.2f Hz can be seen at this rate", 1/(2*s.nn.mean))
	}
	put("vlf", "VLF power, below 0.04 Hz", "s²", needShort, power(0), "five minutes are too short to read much into it")
	put("lf", "LF power, 0.04–0.15 Hz", "s²", needShort, power(1), "")
	put("hf", "HF power, 0.15–0.40 Hz", "s²", needShort, power(2), high)
	put("lfhf", "LF/HF", "", needShort, power(1)/power(2), "what the ratio tells of the nerves is disputed")
	index, base := math.NaN(), math.NaN()
	if s.span >= needGeometry-edgeBeats*mean {
		index, base = s.histogram.triangular(), s.histogram.tinn()
	}
	put("triangular", "Triangular index", "", needGeometry, index, "depends on the bin of 1/128 s")
	put("tinn", "TINN", "s", needGeometry, base, "")
	day := "made for a whole day: do not compare with figures of 24 h"
	put("sdann", "SDANN", "s", needSDANN, s.means.sd(), day)
	put("sdnnIndex", "SDNN index", "s", needSDANN, orNaN(s.deviation), day)
	return r
}

func orNaN(m moments) float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.mean
}
