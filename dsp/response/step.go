// Package response measures what stands between a known stimulus and the samples:
// the corner and the level of a coupled input from a voltage step, a level from
// a tone, and a frequency response from a sweep.
//
// Frequencies are in hertz, times in seconds, levels in the unit of the values.
// All functions are safe for concurrent use.
package response

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// StepFit is a step of voltage as seen behind a coupling capacitor.
type StepFit struct {
	// CornerHz is the capacitor's corner and UncertaintyHz one standard deviation
	// of it from the noise.
	CornerHz      float64 `json:"cornerHz"`
	UncertaintyHz float64 `json:"uncertaintyHz"`
	// Height is the step's height at the moment it came, with its sign.
	Height float64 `json:"height"`
	// At is the step's place in samples, with a fraction.
	At float64 `json:"at"`
	// ResidualShare is the rms of what the fit leaves over the height: a second
	// capacitor, hum or movement shows here.
	ResidualShare float64 `json:"residualShare"`
	// Seconds of decay that were fitted.
	Seconds float64 `json:"seconds"`
}

const (
	// ringSeconds after the step are left out: the decimator rings.
	ringSeconds = 0.006
	// quietSeconds before the step give the level it starts from.
	quietSeconds = 0.5
	// longestDecay and shortestDecay bound the stretch that is fitted.
	longestDecay, shortestDecay = 4.0, 0.15
	// Corners looked for.
	lowestCorner, highestCorner = 0.05, 100.0
	// mostResidual is the largest share that a fit may leave.
	mostResidual = 0.05
)

// Errors of Step.
var (
	ErrNoStep      = errors.New("no step is seen: connect and disconnect the known voltage once, with nothing else on the input, and wait three seconds")
	ErrNotDecaying = errors.New("the step does not fall back as a capacitor makes it: is something else moving, or the input not coupled by a capacitor?")
)

// Step fits the largest step of values: c before it, c + Height·e^(−2π CornerHz t)
// after it. values are the newest seconds of a channel as it came (no
// filter but a linear-phase one), rateHz from 200 to 192000 Hz.
//
// For each corner c and Height follow by linear least squares; the corner by golden
// section on its logarithm after a scan. The uncertainty is that of linearised
// least squares.
func Step(values []float64, rateHz float64) (StepFit, error) {
	if !(rateHz >= 200 && rateHz <= 192000) {
		return StepFit{}, fmt.Errorf("response: step: rate %g Hz; must be 200 to 192000 Hz", rateHz)
	}
	w := max(1, int(0.004*rateHz))
	if len(values) < int(rateHz*(quietSeconds/2+shortestDecay))+4*w {
		return StepFit{}, ErrNoStep
	}
	jump := make([]float64, len(values)-2*w)
	for i := range jump {
		jump[i] = math.Abs(values[i+2*w] - values[i])
	}
	at := 0
	for i, j := range jump {
		if j > jump[at] {
			at = i
		}
	}
	sorted := slices.Clone(jump)
	slices.Sort(sorted)
	usual := sorted[len(sorted)/2]
	if !(jump[at] > 15*usual) || jump[at] == 0 {
		return StepFit{}, ErrNoStep
	}
	step := at + w
	from := step - int(quietSeconds*rateHz)
	before := step - 2*w
	after := step + max(w, int(ringSeconds*rateHz))
	to := min(len(values), after+int(longestDecay*rateHz))
	// The next step of a fifth of this one's size ends the decay.
	for i := after + w; i < to-w && i < len(jump); i++ {
		if jump[i] > jump[at]/5 && i > step+8*w {
			to = i
			break
		}
	}
	from = max(0, from)
	if before-from < int(quietSeconds/4*rateHz) {
		return StepFit{}, fmt.Errorf("%w (the step came too soon after the start of the stretch)", ErrNoStep)
	}
	if to-after < int(shortestDecay*rateHz) {
		return StepFit{}, fmt.Errorf("%w (too short a time after the step: wait three seconds before the next)", ErrNoStep)
	}
	f := fit{values: values, rateHz: rateHz, from: from, before: before, after: after, to: to, at: float64(step)}
	corner := f.corner()
	f.solve(corner)
	f.place(corner)
	out := StepFit{CornerHz: corner, Height: f.height, At: f.at, ResidualShare: f.rms() / math.Abs(f.height), Seconds: float64(to-after) / rateHz}
	out.UncertaintyHz = f.uncertainty(corner)
	if !(out.ResidualShare <= mostResidual) || corner <= 1.01*lowestCorner || corner >= 0.99*highestCorner || !(out.UncertaintyHz < corner/4) {
		return out, ErrNotDecaying
	}
	return out, nil
}

// place finds height and place of the step behind a linear-phase filter that rings
// about it: the area under the whole, height/(2π corner), is not changed by
// such a filter, and the decay after it tells how long ago it began.
func (f *fit) place(cornerHz float64) {
	lambda := 2 * math.Pi * cornerHz
	late := f.height * math.Exp(-lambda*(float64(f.after)-f.at)/f.rateHz) // at sample after
	area := late / (1 - math.Exp(-lambda/f.rateHz))
	for _, v := range f.values[f.before:f.after] {
		area += v - f.c
	}
	height := area / f.rateHz * lambda
	if q := height / late; q >= 1 {
		f.height, f.at = height, float64(f.after)-math.Log(q)/lambda*f.rateHz
	}
}

// fit holds the stretches and the newest solution.
type fit struct {
	values                  []float64
	rateHz                  float64
	from, before, after, to int
	at                      float64

	c, height, square float64
}

// each calls g with every sample used and the basis function there.
func (f *fit) each(cornerHz float64, g func(y, e, seconds float64)) {
	for i := f.from; i < f.before; i++ {
		g(f.values[i], 0, 0)
	}
	decay := math.Exp(-2 * math.Pi * cornerHz / f.rateHz)
	e := math.Exp(-2 * math.Pi * cornerHz * (float64(f.after) - f.at) / f.rateHz)
	for i := f.after; i < f.to; i++ {
		g(f.values[i], e, (float64(i)-f.at)/f.rateHz)
		e *= decay
	}
}

// solve finds c and height for a corner and gives the sum of squares left.
func (f *fit) solve(cornerHz float64) float64 {
	var n, e1, e2, y1, ye, y2 float64
	origin := f.values[f.from] // keeps the sums small
	f.each(cornerHz, func(y, e, _ float64) {
		y -= origin
		n, e1, e2, y1, ye, y2 = n+1, e1+e, e2+e*e, y1+y, ye+y*e, y2+y*y
	})
	d := n*e2 - e1*e1
	f.c, f.height = (e2*y1-e1*ye)/d, (n*ye-e1*y1)/d
	f.square = math.Max(0, y2-f.c*y1-f.height*ye)
	f.c += origin
	return f.square
}

func (f *fit) rms() float64 { return math.Sqrt(f.square / float64(f.before-f.from+f.to-f.after)) }

func (f *fit) corner() float64 {
	const points = 60
	x := func(i float64) float64 { return lowestCorner * math.Pow(highestCorner/lowestCorner, i/points) }
	best, least := 0.0, math.Inf(1)
	for i := range points + 1 {
		if s := f.solve(x(float64(i))); s < least {
			best, least = float64(i), s
		}
	}
	return x(golden(math.Max(0, best-1), math.Min(points, best+1), 40, func(i float64) float64 { return f.solve(x(i)) }))
}

// golden finds where f is least between low and high, which it narrows by the golden
// section so many times: each to 0.618 of before, with one call of f.
func golden(low, high float64, times int, f func(float64) float64) float64 {
	const share = 0.6180339887498949 // (√5 − 1)/2
	a, b := high-share*(high-low), low+share*(high-low)
	fa, fb := f(a), f(b)
	for range times {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - share*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + share*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}

// uncertainty is σ √((JᵀJ)⁻¹) of the corner with J in c, height and corner.
func (f *fit) uncertainty(cornerHz float64) float64 {
	var n, e1, e2, g1, ge, g2 float64
	f.each(cornerHz, func(_, e, t float64) {
		g := -2 * math.Pi * t * e * f.height
		n, e1, e2, g1, ge, g2 = n+1, e1+e, e2+e*e, g1+g, ge+g*e, g2+g*g
	})
	// What is left of g after c and height have been fitted to it.
	d := n*e2 - e1*e1
	left := g2 - (g1*(e2*g1-e1*ge)+ge*(n*ge-e1*g1))/d
	return math.Sqrt(f.square / (n - 3) / left)
}
