package board

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"
)

// UnstableError tells of a board that swings by itself.
type UnstableError struct{ Hz float64 }

func (e *UnstableError) Error() string {
	return fmt.Sprintf("board: this circuit swings by itself, at about %.3g Hz: lower the gain of its sallen-key stage below 3, or check the feedback parts", e.Hz)
}

// NoiseSource is what one part adds at the output, in volts rms within the board's band.
type NoiseSource struct {
	Name     string  `json:"name"`
	What     string  `json:"what"`
	VoltsRMS float64 `json:"voltsRms"`
}

// Noise is what stands at the output without a signal.
type Noise struct {
	// VoltsPerRootHz is the density of the circuit alone at the frequencies asked for.
	VoltsPerRootHz []float64 `json:"voltsPerRootHz"`
	// ConverterVoltsPerRootHz is the converter's, LSB/√12 spread evenly to half of its
	// rate; 0 without one.
	ConverterVoltsPerRootHz float64 `json:"converterVoltsPerRootHz"`
	LowHz                   float64 `json:"lowHz"` // the band of what follows
	HighHz                  float64 `json:"highHz"`
	VoltsRMS                float64 `json:"voltsRms"` // converter included
	// Sources, largest first; they add by their squares.
	Sources []NoiseSource `json:"sources"`
}

// noisy is one source of noise: its power at the output for the adjoint solution y.
type noisy struct {
	name, what string
	power      func(y []complex128, hz float64) float64
}

func square(x complex128) float64 { return real(x)*real(x) + imag(x)*imag(x) }

// noisies lists the circuit's sources: resistors 4kT/R (Johnson 1928, Nyquist 1928), op amps,
// and single charges 2qI (Schottky 1918).
func (b *Board) noisies(k *circuit, components []Component) []noisy {
	var all []noisy
	for _, r := range k.resistors {
		density := 4 * boltzmann * kelvin / r.value
		all = append(all, noisy{components[r.part].Ref, "resistor", func(y []complex128, _ float64) float64 {
			return density * square(at(y, r.a)-at(y, r.b))
		}})
	}
	for i, a := range k.amplifiers {
		o := a.limits
		all = append(all, noisy{fmt.Sprintf("U%d", i+1), "op amp", func(y []complex128, hz float64) float64 {
			volts := o.NoiseVoltsPerRootHz * o.NoiseVoltsPerRootHz * (1 + o.NoiseCornerHz/hz)
			amps := o.NoiseAmpsPerRootHz * o.NoiseAmpsPerRootHz
			return volts*square(y[a.branch]) + amps*(square(at(y, a.plus))+square(at(y, a.minus)))
		}})
	}
	for _, f := range k.flows {
		if f.shot {
			all = append(all, noisy{"light", "charges of the light's current", func(y []complex128, _ float64) float64 {
				return 2 * charge * math.Abs(f.amps) * square(at(y, f.a)-at(y, f.b))
			}})
		}
	}
	return all
}

const bandPoints = 24 // per decade, for the integral over the band

func (b *Board) noise(k *circuit, freqHz []float64) Noise {
	sources := b.noisies(k, b.Components())
	low, high := b.Band()
	n := Noise{VoltsPerRootHz: make([]float64, len(freqHz)), LowHz: low, HighHz: high}
	s := newSolver(k)
	adjoint := func(hz float64) []complex128 {
		s.set(k, complex(0, 2*math.Pi*hz))
		y := s.unit(k.out - 1)
		s.solveTransposed(y)
		return y
	}
	for i, hz := range freqHz {
		y, sum := adjoint(hz), 0.0
		for _, src := range sources {
			sum += src.power(y, hz)
		}
		n.VoltsPerRootHz[i] = math.Sqrt(sum)
	}
	grid := Grid(low, high, bandPoints)
	power := make([]float64, len(sources))
	last := make([]float64, len(sources))
	for i, hz := range grid {
		y := adjoint(hz)
		for j, src := range sources {
			p := src.power(y, hz)
			if i > 0 {
				power[j] += (p + last[j]) / 2 * (hz - grid[i-1])
			}
			last[j] = p
		}
	}
	for j, src := range sources {
		n.Sources = append(n.Sources, NoiseSource{src.name, src.what, math.Sqrt(power[j])})
	}
	if c := b.Converter; c != nil {
		step := c.ReferenceVolts / math.Exp2(float64(c.Bits))
		n.ConverterVoltsPerRootHz = step / math.Sqrt(6*c.RateHz)
		n.Sources = append(n.Sources, NoiseSource{"converter", fmt.Sprintf("steps of %s", Text(step, "V")), n.ConverterVoltsPerRootHz * math.Sqrt(math.Min(high, c.RateHz/2)-math.Min(low, c.RateHz/2))})
	}
	sum := 0.0
	for _, src := range n.Sources {
		sum += src.VoltsRMS * src.VoltsRMS
	}
	n.VoltsRMS = math.Sqrt(sum)
	sort.SliceStable(n.Sources, func(i, j int) bool { return n.Sources[i].VoltsRMS > n.Sources[j].VoltsRMS })
	return n
}

// talbotTerms make the inversion good to about ten digits in float64.
const talbotTerms = 24

// Step is the output's answer, in volts, to a step of 1 V at vin, seconds after it:
// the inverse Laplace transform of H(s)/s by the fixed Talbot method (Abate and Valkó,
// "Multi-precision Laplace transform inversion", Int. J. Numer. Meth. Engng 60 (2004)
// 979–993). seconds must be positive.
func (b *Board) Step(seconds []float64) []float64 {
	k := b.build(b.Components(), nil)
	s := newSolver(k)
	y := make([]float64, len(seconds))
	for i, t := range seconds {
		y[i] = k.step(s, t)
	}
	return y
}

func (k *circuit) step(s *solver, t float64) float64 {
	const m = talbotTerms
	r := 2.0 * m / (5 * t)
	sum := 0.5 * math.Exp(r*t) * real(k.gain(s, complex(r, 0))/complex(r, 0))
	for i := 1; i < m; i++ {
		angle := float64(i) * math.Pi / m
		cot := 1 / math.Tan(angle)
		p := complex(r*angle*cot, r*angle)
		slope := complex(1, angle+(angle*cot-1)*cot)
		sum += real(cmplx.Exp(p*complex(t, 0)) * k.gain(s, p) / p * slope)
	}
	return r / m * sum
}

const (
	settledShare = 0.05
	stepsPerHalf = 40 // times looked at in a factor of ten
)

// settling finds when the step's answer stays within 5 % of its largest deviation from its
// end; nil when that takes too long.
func (k *circuit) settling() *float64 {
	slowest := 0.0 // seconds
	for _, p := range k.poles() {
		if real(p) < 0 {
			slowest = math.Max(slowest, -1/real(p))
		}
	}
	if !(slowest > 0) || slowest > 1e4 {
		return nil
	}
	s := newSolver(k)
	end := real(k.gain(s, 0))
	off := func(t float64) float64 { return math.Abs(k.step(s, t) - end) }
	times := Grid(1e-7*slowest, 20*slowest, stepsPerHalf)
	d := make([]float64, len(times))
	most := 0.0
	for i, t := range times {
		d[i] = off(t)
		most = math.Max(most, d[i])
	}
	for i := len(times) - 2; i >= 0; i-- {
		if d[i] > settledShare*most {
			in, out := times[i+1], times[i]
			for range 30 {
				m := (in + out) / 2
				if off(m) > settledShare*most {
					out = m
				} else {
					in = m
				}
			}
			return &in
		}
	}
	t := times[0]
	return &t
}
