package board

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sort"

	"pulsewright/dsp/quantile"
)

// SpreadConfig says how boards are drawn.
type SpreadConfig struct {
	FreqHz []float64
	// Boards drawn, 10 to 2000; 0: 200.
	Boards int
	// Tolerance of every part in place of its own, as a share; 0: each its own.
	Tolerance float64
	// Seed chooses the draws: the same seed, the same boards.
	Seed uint64
}

// Range is where 95 of 100 boards lie.
type Range struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Spread is what tolerances do: the middle 95 of 100 boards drawn.
type Spread struct {
	Boards     int       `json:"boards"`
	FreqHz     []float64 `json:"freqHz"`
	LowDB      []float64 `json:"lowDb"`
	HighDB     []float64 `json:"highDb"`
	CornerLow  *Range    `json:"cornerLowHz"` // nil when a board has none
	CornerHigh *Range    `json:"cornerHighHz"`
	PeakDB     Range     `json:"peakDb"`
	// BodyVoltsPerNanoamp is below what hum into the body is for 95 of 100 boards,
	// since arms that are not alike let it through; nil without electrodes.
	BodyVoltsPerNanoamp *float64 `json:"bodyVoltsPerNanoamp"`
}

// Spread draws boards whose parts lie anywhere within their tolerance, each as likely (a
// common choice: makers promise the limits, not the shape), and tells how they spread.
func (b *Board) Spread(cfg SpreadConfig) (*Spread, error) {
	if cfg.Boards == 0 {
		cfg.Boards = 200
	}
	if cfg.Boards < 10 || cfg.Boards > 2000 || len(cfg.FreqHz) == 0 || len(cfg.FreqHz) > 500 {
		return nil, fmt.Errorf("board: spread of %d boards at %d frequencies: it must be 10 to 2000 at 1 to 500", cfg.Boards, len(cfg.FreqHz))
	}
	if !(cfg.Tolerance >= 0 && cfg.Tolerance <= 0.5) {
		return nil, fmt.Errorf("board: spread: tolerance of %g: it must be a share from 0 (each part its own) to 0.5", cfg.Tolerance)
	}
	components := b.Components()
	values := make([]float64, len(components))
	random := rand.New(rand.NewPCG(cfg.Seed, 60063))
	gains := make([][]float64, len(cfg.FreqHz))
	var lows, highs, peaks, body []float64
	for range cfg.Boards {
		for i := range components {
			t := components[i].Tolerance
			if cfg.Tolerance > 0 {
				t = cfg.Tolerance
			}
			values[i] = components[i].effective() * (1 + t*(2*random.Float64()-1))
		}
		k := b.build(components, values)
		for i, h := range k.response(cfg.FreqHz) {
			gains[i] = append(gains[i], decibel(h))
		}
		c := k.corners(func(x []complex128) complex128 { return at(x, k.out) })
		peaks = append(peaks, c.PeakDB)
		if c.LowHz != nil {
			lows = append(lows, *c.LowHz)
		}
		if c.HighHz != nil {
			highs = append(highs, *c.HighHz)
		}
		if b.Stages[0].Kind == electrodes {
			body = append(body, k.bodyHum())
		}
	}
	s := &Spread{Boards: cfg.Boards, FreqHz: cfg.FreqHz, PeakDB: *middle(peaks)}
	for _, g := range gains {
		r := middle(g)
		s.LowDB, s.HighDB = append(s.LowDB, r.Low), append(s.HighDB, r.High)
	}
	if len(lows) == cfg.Boards {
		s.CornerLow = middle(lows)
	}
	if len(highs) == cfg.Boards {
		s.CornerHigh = middle(highs)
	}
	if body != nil {
		sort.Float64s(body)
		v := quantile.Of(body, 0.95)
		s.BodyVoltsPerNanoamp = &v
	}
	return s, nil
}

func middle(v []float64) *Range {
	sort.Float64s(v)
	return &Range{quantile.Of(v, 0.025), quantile.Of(v, 0.975)}
}

// bodyHum is what a nanoampere at 50 Hz into the body does at the output, in volts; 0
// without electrodes.
func (k *circuit) bodyHum() float64 {
	for node, name := range k.names {
		if name != "sa_body" {
			continue
		}
		s := newSolver(k)
		if !s.set(k, complex(0, 2*math.Pi*50)) {
			return 0
		}
		y := s.unit(k.out - 1)
		s.solveTransposed(y)
		return 1e-9 * cmplx.Abs(at(y, node))
	}
	return 0
}
