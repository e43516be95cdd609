package signalpath

import "math"

// finder tells 50 from 60 Hz by the power of each in windows of two seconds
// (Hann, by Goertzel's recursion in its complex form, so that the main lobes,
// ±1 Hz, do not touch). It needs four times the other's power (6 dB) to change
// its mind, so that the heartbeat's own share, alike in both, does not sway it.
type finder struct {
	// Immutable after newFinder.
	length int
	step   [3]complex128 // of the window, of 50 Hz, of 60 Hz, per sample
	rateHz float64

	at    int
	phase [3]complex128
	sum   [2]complex128
	x0    float64 // taken off, so that an offset does not leak
	hz    float64
}

var mains = [2]float64{50, 60}

func newFinder(rateHz float64) *finder {
	f := &finder{length: int(math.Round(2 * rateHz)), rateHz: rateHz}
	turn := func(cycles float64) complex128 {
		s, c := math.Sincos(2 * math.Pi * cycles)
		return complex(c, s)
	}
	f.step = [3]complex128{turn(1 / float64(f.length)), turn(mains[0] / rateHz), turn(mains[1] / rateHz)}
	f.reset()
	return f
}

func (f *finder) reset() {
	f.at = 0
	f.hz = mains[0]
}

// left is how many samples may be given to add before the window is full.
func (f *finder) left() int { return f.length - f.at }

// add takes samples and is true when the frequency has changed with the last of
// them.
func (f *finder) add(src []float64) bool {
	if f.rateHz/2 <= mains[0] {
		return false // neither can be told apart from its alias
	}
	for _, x := range src {
		if f.at == 0 {
			f.phase = [3]complex128{1, 1, 1}
			f.sum = [2]complex128{}
			f.x0 = x
		}
		v := complex((1-real(f.phase[0]))*(x-f.x0), 0)
		f.sum[0] += v * f.phase[1]
		f.sum[1] += v * f.phase[2]
		for i := range f.phase {
			f.phase[i] *= f.step[i]
		}
		if f.at++; f.at == f.length {
			f.at = 0
			return f.decide()
		}
	}
	return false
}

func (f *finder) decide() bool {
	if f.rateHz/2 <= mains[1] {
		return false
	}
	power := func(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }
	p50, p60 := power(f.sum[0]), power(f.sum[1])
	was := f.hz
	switch {
	case p60 > 4*p50:
		f.hz = mains[1]
	case p50 > 4*p60:
		f.hz = mains[0]
	}
	return f.hz != was
}
