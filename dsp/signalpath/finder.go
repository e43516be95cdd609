package signalpath

import "math"

// finder tells 50 from 60 Hz by the power of each in windows of one second (Hann;
// main lobes of ±2 Hz). To change its mind it needs, in two windows running, four
// times (6 dB) the power of the other and of what lies beside them, at 45, 55 and
// 65 Hz: neither a heartbeat, whose spectrum is smooth there, nor noise should
// sway it.
type finder struct {
	// Immutable after newFinder.
	length int
	window complex128    // turn per sample of the Hann window
	step   [5]complex128 // turn per sample at each of finderHz
	bins   int           // how many of finderHz lie below half the rate
	use    bool          // whether both mains do

	at    int
	angle complex128
	phase [5]complex128
	sum   [5]complex128
	x0    float64 // taken off, so that an offset does not leak
	votes int     // windows running that favoured the other
	hz    float64
}

var finderHz = [5]float64{50, 60, 45, 55, 65}

func newFinder(rateHz float64) *finder {
	f := &finder{length: int(math.Round(rateHz)), hz: finderHz[0], use: rateHz/2 > 60}
	f.bins = len(finderHz)
	if rateHz/2 <= finderHz[4] {
		f.bins--
	}
	turn := func(cycles float64) complex128 {
		s, c := math.Sincos(2 * math.Pi * cycles)
		return complex(c, s)
	}
	f.window = turn(1 / float64(f.length))
	for i, hz := range finderHz {
		f.step[i] = turn(hz / rateHz)
	}
	return f
}

// restart forgets the signal but not what was found.
func (f *finder) restart() { f.at, f.votes = 0, 0 }

// left is how many samples may be given to add before the window is full.
func (f *finder) left() int { return f.length - f.at }

// add takes at most left samples and is true when the frequency has changed with
// the last of them. At rates up to 120 Hz both cannot be seen and it stays at 50.
func (f *finder) add(src []float64) bool {
	if !f.use {
		return false
	}
	for _, x := range src {
		if f.at == 0 {
			f.angle = 1
			f.phase = [5]complex128{1, 1, 1, 1, 1}
			f.sum = [5]complex128{}
			f.x0 = x
		}
		v := complex((1-real(f.angle))*(x-f.x0), 0)
		f.angle *= f.window
		for i := range f.bins {
			f.sum[i] += v * f.phase[i]
			f.phase[i] *= f.step[i]
		}
		f.at++
	}
	if f.at < f.length {
		return false
	}
	f.at = 0
	return f.decide()
}

func (f *finder) decide() bool {
	var p [5]float64
	for i, s := range f.sum {
		p[i] = real(s)*real(s) + imag(s)*imag(s)
	}
	this, other := 0, 1
	if f.hz == finderHz[1] {
		this, other = 1, 0
	}
	beside := math.Max(p[this], math.Max(p[2], math.Max(p[3], p[4])))
	if !(p[other] > 4*beside) {
		f.votes = 0
		return false
	}
	if f.votes++; f.votes < 2 {
		return false
	}
	f.votes = 0
	f.hz = finderHz[other]
	return true
}
