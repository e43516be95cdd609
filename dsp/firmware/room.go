package firmware

import (
	"fmt"
	"math"

	"pulsewright/dsp/filter"
)

const (
	// OrdinaryBeat is a beat's height as a share of the converter's range.
	OrdinaryBeat = 0.1
	// mostNoise is the share of an ordinary beat that rounding may add to an output
	// before New refuses it.
	mostNoise = 0.05
	// longest is how many samples of an impulse response are added up; what is left of a
	// longer one is one slow decay.
	longest = 1 << 20
)

// sums of an impulse response: of what lies above 0 and of what lies below.
type sums struct{ up, down float64 }

func (s *sums) add(v float64) {
	s.up += max(v, 0)
	s.down += min(v, 0)
}

// impulse adds up what each section from first on answers to an impulse at first's input,
// or, with rounding, to a unit that first's rounding cuts off an output and adds to the next.
func (f *Filter) impulse(first int, rounding bool) []sums {
	type floating struct{ b0, b1, b2, a1, a2, x1, x2, y1, y2 float64 }
	unit := math.Exp2(float64(f.q))
	var list []floating
	radius := 0.0
	for _, r := range f.sections[first:] {
		s := floating{b0: float64(r.b[0]) / unit, b1: float64(r.b[1]) / unit, b2: float64(r.b[2]) / unit, a1: float64(r.a[0]) / unit, a2: float64(r.a[1]) / unit}
		list = append(list, s)
		radius = max(radius, filter.NewSection([3]float64{s.b0, s.b1, s.b2}, [2]float64{s.a1, s.a2}).PoleRadius())
	}
	if rounding {
		list[0].b0, list[0].b1, list[0].b2 = 1, -1, 0
	}
	out := make([]sums, len(list))
	for n := range int(math.Min(longest, 100+30/(1-radius))) {
		x := 0.0
		if n == 0 {
			x = 1
		}
		for k := range list {
			s := &list[k]
			y := s.b0*x + s.b1*s.x1 + s.b2*s.x2 - s.a1*s.y1 - s.a2*s.y2
			if math.Abs(y) < 1e-30 { // processors are slow with the smallest numbers
				y = 0
			}
			s.x2, s.x1, s.y2, s.y1 = s.x1, x, s.y1, y
			out[k].add(y)
			x = y
		}
	}
	for k := range list {
		out[k].add(list[k].y1 / (1 - radius))
	}
	return out
}

// fit raises a count by as many bits inside, at most f.guard, as the worst input leaves
// room for: then no input makes a section's output wrap in a word of so many bits and a
// sign. It refuses what does not fit, and what rounding then adds too much noise to.
func (f *Filter) fit(word uint) error {
	most, low, high := math.Exp2(float64(word))-1, float64(f.low), float64(f.high)
	remedy := "choose lower orders or fewer notches"
	if f.cfg.Form == Small {
		remedy = fmt.Sprintf("choose the form %s, lower orders or fewer notches", Exact)
	}
	rounding, noise := make([]float64, len(f.sections)), 0.0 // units inside
	for first := range f.sections {
		list := f.impulse(first, true)
		for k, s := range list {
			rounding[first+k] += max(s.up, -s.down)
		}
		last := list[len(list)-1]
		noise += max(last.up, -last.down)
	}
	// At the start the level that comes in goes through rounded gains at 0 Hz, as far as the
	// first section that lets none through: a unit by the gain, one by its product, twice that
	// with the overshoot of what follows.
	start := 0.0
	for k, s := range f.sections {
		if s.gain == 0 {
			break
		}
		start += 4
		rounding[k] += start
	}
	noise += start
	room := most / max(high, -low)
	if len(f.sections) > 0 {
		for k, s := range f.impulse(0, false) {
			reach := max(high*s.up+low*s.down, -low*s.up-high*s.down)
			if most < reach+rounding[k] {
				return fmt.Errorf("firmware: form %s: in the worst case section %d reaches %.3g times the converter's end, which its whole numbers do not hold: %s", f.cfg.Form, k+1, reach/max(high, -low), remedy)
			}
			room = min(room, (most-rounding[k])/reach)
		}
	}
	f.guard = min(f.guard, uint(math.Log2(room)))
	f.fraction = min(f.guard, 8)
	f.noise = noise * math.Exp2(-float64(f.guard))
	if f.guard > f.fraction {
		f.noise += math.Exp2(-float64(f.fraction))
	}
	if f.NoiseOfBeat() > mostNoise {
		return fmt.Errorf("firmware: form %s: rounding moves an output by up to %.3g counts, more than %g %% of an ordinary beat (a tenth of the converter's range, %.0f counts): %s", f.cfg.Form, f.noise, 100*mostNoise, OrdinaryBeat*(high-low), remedy)
	}
	return nil
}

// Noise is how many counts the rounding of outputs moves what the path gives, at most,
// whatever comes in. [Filter.Error] is what rounded coefficients do besides.
func (f *Filter) Noise() float64 { return f.noise }

// NoiseOfBeat is Noise as a share of an ordinary beat.
func (f *Filter) NoiseOfBeat() float64 { return f.noise / (OrdinaryBeat * float64(f.high-f.low)) }
