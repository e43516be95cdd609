package board

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Constants of CODATA 2018, exact in the SI of 2019.
const (
	boltzmann = 1.380649e-23
	charge    = 1.602176634e-19
	kelvin    = 300.15
)

// Curve is gain and phase over frequencies.
type Curve struct {
	GainDB   []float64 `json:"gainDb"`
	PhaseDeg []float64 `json:"phaseDeg"` // −180 to 180
}

// Corners are where gain has fallen by 3 dB (to 1/√2) from its highest; nil where it does
// not between a thousandth of a hertz and 1 MHz.
type Corners struct {
	LowHz  *float64 `json:"lowHz"`
	HighHz *float64 `json:"highHz"`
	PeakDB float64  `json:"peakDb"`
	PeakHz float64  `json:"peakHz"`
}

// Room is what an output has between its rest and where it clips.
type Room struct {
	RestVolts float64 `json:"restVolts"`
	// SpreadVolts is how far op amp offsets can move the rest, either way.
	SpreadVolts float64 `json:"spreadVolts"`
	LowVolts    float64 `json:"lowVolts"`  // where it clips below
	HighVolts   float64 `json:"highVolts"` // and above
	// Gain is the largest from vin to here within the board's band.
	Gain float64 `json:"gain"`
	// InputVolts is what at vin, up or down, makes it clip; 0: it clips at rest.
	InputVolts float64 `json:"inputVolts"`
}

// StageFigures are one stage's.
type StageFigures struct {
	Stage   string  `json:"stage"`
	Title   string  `json:"title"`
	Curve   Curve   `json:"curve"` // from its input, loaded by what follows
	Corners Corners `json:"corners"`
	Room    Room    `json:"room"`
	// HumVoltsPerNanoamp is what a nanoampere of hum at 50 Hz into the stage's output
	// node does at the board's output.
	HumVoltsPerNanoamp float64 `json:"humVoltsPerNanoamp"`
}

// Span is what the signal may use at the board's output.
type Span struct {
	LowVolts  float64 `json:"lowVolts"`
	RestVolts float64 `json:"restVolts"`
	HighVolts float64 `json:"highVolts"`
	// ClipsFirst is the stage that reaches an end first, from 0, or −1: the converter.
	ClipsFirst int `json:"clipsFirst"`
	// InputVolts is the largest swing at vin either way before something clips.
	InputVolts float64 `json:"inputVolts"`
}

// Figures are what a board does.
type Figures struct {
	FreqHz  []float64      `json:"freqHz"`
	Whole   Curve          `json:"whole"`
	Corners Corners        `json:"corners"`
	Stages  []StageFigures `json:"stages"`
	Noise   Noise          `json:"noise"`
	Span    Span           `json:"span"`
	// SettlingSeconds is how long after a step at vin the output stays within 5 % of
	// the largest deviation from where it ends; nil when longer than 10 000 s.
	SettlingSeconds *float64 `json:"settlingSeconds"`
	// FlickerDB is the gain at 100 Hz, where lamps on 50 Hz flicker, over the highest.
	FlickerDB float64 `json:"flickerDb"`
	// HumDB is the gain at 50 Hz over the highest.
	HumDB float64 `json:"humDb"`
	// SupplyDB is how much of a ripple of the supply at 100 Hz is at the output.
	SupplyDB float64 `json:"supplyDb"`
	// BodyVoltsPerNanoamp is what a nanoampere of hum into the body does at the
	// output when all parts have their value; nil without electrodes.
	BodyVoltsPerNanoamp *float64 `json:"bodyVoltsPerNanoamp"`
}

// Grid are frequencies from low to high, perDecade of them in a decade, both ends included.
func Grid(lowHz, highHz float64, perDecade int) []float64 {
	n := int(math.Round(math.Log10(highHz/lowHz) * float64(perDecade)))
	if n < 1 {
		n = 1
	}
	f := make([]float64, n+1)
	for i := range f {
		f[i] = lowHz * math.Pow(highHz/lowHz, float64(i)/float64(n))
	}
	return f
}

func decibel(x complex128) float64 {
	return math.Max(-400, 20*math.Log10(cmplx.Abs(x)))
}

func degrees(x complex128) float64 { return cmplx.Phase(x) * 180 / math.Pi }

// Response is the gain from vin to out at frequencies in hertz: volts for a volt.
func (b *Board) Response(freqHz []float64) []complex128 {
	return b.build(b.Components(), nil).response(freqHz)
}

func (k *circuit) response(freqHz []float64) []complex128 {
	s := newSolver(k)
	h := make([]complex128, len(freqHz))
	for i, f := range freqHz {
		h[i] = k.gain(s, complex(0, 2*math.Pi*f))
	}
	return h
}

// gain from vin to out at a complex frequency; NaN when there is no solution.
func (k *circuit) gain(s *solver, at_ complex128) complex128 {
	if !s.set(k, at_) {
		return cmplx.NaN()
	}
	x := s.unit(k.vin)
	s.solve(x)
	return at(x, k.out)
}

// Figures computes everything at frequencies in hertz, which rise and lie within 0.001 Hz
// and 1 MHz. The board must have passed Check.
func (b *Board) Figures(freqHz []float64) (*Figures, error) {
	if len(freqHz) < 2 || len(freqHz) > 2000 || !(freqHz[0] >= leastHz) || !(freqHz[len(freqHz)-1] <= mostHz) {
		return nil, fmt.Errorf("board: %d frequencies: give 2 to 2000 that rise, from %g to %g Hz", len(freqHz), leastHz, mostHz)
	}
	k := b.build(b.Components(), nil)
	f := &Figures{FreqHz: freqHz, Stages: make([]StageFigures, len(b.Stages))}
	s := newSolver(k)
	curves := make([][]complex128, len(b.Stages)+1)
	for _, hz := range freqHz {
		if !s.set(k, complex(0, 2*math.Pi*hz)) {
			return nil, fmt.Errorf("board: the circuit has no solution at %g Hz: look for a part of extreme value", hz)
		}
		x := s.unit(k.vin)
		s.solve(x)
		for i := range b.Stages {
			curves[i] = append(curves[i], k.stageGain(x, i))
		}
		curves[len(b.Stages)] = append(curves[len(b.Stages)], at(x, k.out))
	}
	f.Whole = curveOf(curves[len(b.Stages)])
	f.Corners = k.corners(func(x []complex128) complex128 { return at(x, k.out) })
	for i := range b.Stages {
		f.Stages[i] = StageFigures{Stage: b.Stages[i].Kind, Title: b.Stages[i].Title(), Curve: curveOf(curves[i]),
			Corners: k.corners(func(x []complex128) complex128 { return k.stageGain(x, i) })}
	}
	f.Noise = b.noise(k, freqHz)
	f.SettlingSeconds = k.settling()
	b.rooms(k, f)
	b.hum(k, f)
	return f, nil
}

// stageGain is the gain from a stage's input to its output, of the first from vin.
func (k *circuit) stageGain(x []complex128, i int) complex128 {
	out := k.ports[i].of(x)
	if i == 0 {
		return out
	}
	in := k.ports[i-1].of(x)
	if in == 0 {
		return 0
	}
	return out / in
}

func curveOf(h []complex128) Curve {
	c := Curve{make([]float64, len(h)), make([]float64, len(h))}
	for i, x := range h {
		c.GainDB[i], c.PhaseDeg[i] = decibel(x), degrees(x)
	}
	return c
}

const (
	leastHz, mostHz  = 1e-3, 1e6
	cornersPerDecade = 12
)

// corners looks for the −3 dB points on both sides of the highest gain.
func (k *circuit) corners(gain func(x []complex128) complex128) Corners {
	s := newSolver(k)
	size := func(hz float64) float64 {
		s.set(k, complex(0, 2*math.Pi*hz))
		x := s.unit(k.vin)
		s.solve(x)
		return cmplx.Abs(gain(x))
	}
	grid := Grid(leastHz, mostHz, cornersPerDecade)
	g := make([]float64, len(grid))
	top := 0
	for i, hz := range grid {
		g[i] = size(hz)
		if g[i] > g[top] {
			top = i
		}
	}
	peakHz, peak := golden(size, grid[max(0, top-1)], grid[min(len(grid)-1, top+1)])
	if g[top] > peak {
		peakHz, peak = grid[top], g[top]
	}
	c := Corners{PeakDB: 20 * math.Log10(peak), PeakHz: peakHz}
	level := peak / math.Sqrt2
	for i := top - 1; i >= 0; i-- {
		if g[i] < level {
			c.LowHz = crossing(size, grid[i], math.Min(grid[i+1], peakHz), level)
			break
		}
	}
	for i := top + 1; i < len(grid); i++ {
		if g[i] < level {
			c.HighHz = crossing(size, grid[i], math.Max(grid[i-1], peakHz), level)
			break
		}
	}
	return c
}

// golden finds the highest of f between two frequencies.
func golden(f func(hz float64) float64, low, high float64) (hz, most float64) {
	const share = 0.6180339887498949
	a, b := math.Log(low), math.Log(high)
	for range 20 {
		c, d := b-share*(b-a), a+share*(b-a)
		if f(math.Exp(c)) > f(math.Exp(d)) {
			b = d
		} else {
			a = c
		}
	}
	hz = math.Exp((a + b) / 2)
	return hz, f(hz)
}

// crossing halves between a frequency below the level and one above it.
func crossing(f func(hz float64) float64, below, above, level float64) *float64 {
	for range 40 {
		m := math.Sqrt(below * above)
		if f(m) < level {
			below = m
		} else {
			above = m
		}
	}
	hz := math.Sqrt(below * above)
	return &hz
}

// hum fills in how hum comes in. Its frequencies are those of a 50 Hz house.
func (b *Board) hum(k *circuit, f *Figures) {
	s := newSolver(k)
	f.HumDB = decibel(k.gain(s, complex(0, 2*math.Pi*50))) - f.Corners.PeakDB
	y := s.unit(k.out - 1)
	s.solveTransposed(y)
	for i := range f.Stages {
		f.Stages[i].HumVoltsPerNanoamp = 1e-9 * cmplx.Abs(at(y, k.ports[i].plus))
	}
	if b.Stages[0].Kind == electrodes {
		v := k.bodyHum()
		f.BodyVoltsPerNanoamp = &v
	}
	f.FlickerDB = decibel(k.gain(s, complex(0, 2*math.Pi*100))) - f.Corners.PeakDB
	x := s.unit(k.supply)
	s.solve(x)
	f.SupplyDB = decibel(at(x, k.out))
}
