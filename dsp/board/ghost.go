package board

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	// ghostFloor is how far below its highest the present board's gain may be, as a
	// share, where it is still divided out: 40 dB. Below, converter and noise speak.
	ghostFloor = 0.01
	// ghostPerDecade is how finely responses are computed; between them they are drawn
	// straight, which is right to 1 in 5000.
	ghostPerDecade = 60
	mostGhost      = 1 << 18
)

// Ghost is what a signal would have been behind a changed board.
type Ghost struct {
	Volts []float64 `json:"volts"`
	// LowHz and HighHz bound where the present board leaves enough of the signal for
	// this to be honest; outside, what is drawn fades to nothing.
	LowHz  float64 `json:"lowHz"`
	HighHz float64 `json:"highHz"`
	// Clipped is the share of samples held at the changed board's span.
	Clipped float64 `json:"clipped"`
}

// Ghost takes volts at the present board's output, evenly sampled, through the change from
// present to changed: the new response over the old. Where that raises what the old board
// left little of, it is held back by g²/(g² + floor²·(ratio − 1)), after Wiener
// ("Extrapolation, Interpolation, and Smoothing of Stationary Time Series", 1949), for noise
// at the floor. The mean moves with the rest. The two ends, mirrored for the computation,
// are less certain than the middle.
func (changed *Board) Ghost(present *Board, rateHz float64, volts []float64) (*Ghost, error) {
	n := len(volts)
	if n < 16 || n > mostGhost || !(rateHz >= 1 && rateHz <= 1e6) {
		return nil, fmt.Errorf("board: ghost of %d samples at %g Hz: it must be 16 to %d at 1 Hz to 1 MHz", n, rateHz, mostGhost)
	}
	g := &Ghost{}
	hz, old := ghostGrid(present, rateHz, n)
	now := changed.Response(hz)
	g.LowHz, g.HighHz = honest(hz, old, rateHz)
	mean, y, err := carry(volts, rateHz, hz, bounded(old, now))
	if err != nil {
		return nil, err
	}
	g.Volts = y
	span := changed.Span()
	mean += span.RestVolts - present.Span().RestVolts
	held := 0
	for i := range g.Volts {
		v := mean + g.Volts[i]
		if w := math.Min(math.Max(v, span.LowVolts), span.HighVolts); w != v {
			v = w
			held++
		}
		g.Volts[i] = v
	}
	g.Clipped = float64(held) / float64(n)
	return g, nil
}

// AtStages is what a signal of volts at the present board's output would be at each stage's
// output of the changed one, about its mean there, without limits: for each stage a slice
// of the signal's length. It is the part of the signal that matters, from about half to
// twice the board's band; what lies outside is left away, since before a filter it would be
// mostly noise or drift raised again.
func (changed *Board) AtStages(present *Board, rateHz float64, volts []float64) ([][]float64, error) {
	if n := len(volts); n < 16 || n > mostGhost || !(rateHz >= 1 && rateHz <= 1e6) {
		return nil, fmt.Errorf("board: %d samples at %g Hz at the stages: it must be 16 to %d at 1 Hz to 1 MHz", n, rateHz, mostGhost)
	}
	hz, whole := ghostGrid(present, rateHz, len(volts))
	k := changed.build(changed.Components(), nil)
	s := newSolver(k)
	low, high := changed.Band()
	stages := make([][]complex128, len(changed.Stages))
	for _, f := range hz {
		s.set(k, complex(0, 2*math.Pi*f))
		x := s.unit(k.vin)
		s.solve(x)
		kept := complex(1/(1+math.Pow(f/(2*high), 4))/(1+math.Pow(low/(2*f), 4)), 0)
		for i := range stages {
			stages[i] = append(stages[i], kept*k.ports[i].of(x))
		}
	}
	all := make([][]float64, len(stages))
	for i, h := range stages {
		_, y, err := carry(volts, rateHz, hz, bounded(whole, h))
		if err != nil {
			return nil, err
		}
		all[i] = y
	}
	return all, nil
}

// Span is what the signal may use at the output.
func (b *Board) Span() Span {
	f := &Figures{Stages: make([]StageFigures, len(b.Stages))}
	b.rooms(b.build(b.Components(), nil), f)
	return f.Span
}

// ghostGrid are frequencies for a stretch of n samples, mirrored, and the response there.
func ghostGrid(b *Board, rateHz float64, n int) (hz []float64, h []complex128) {
	hz = Grid(rateHz/float64(3*n)*0.99, rateHz/2*1.01, ghostPerDecade)
	return hz, b.Response(hz)
}

// honest is the band in which the old response leaves enough of the signal.
func honest(hz []float64, old []complex128, rateHz float64) (lowHz, highHz float64) {
	floor := ghostFloor * largest(old)
	for i, h := range old {
		if cmplx.Abs(h) > 2*floor {
			if lowHz == 0 {
				lowHz = hz[i]
			}
			highHz = math.Min(hz[i], rateHz/2)
		}
	}
	return lowHz, highHz
}

func largest(h []complex128) float64 {
	peak := 0.0
	for _, x := range h {
		peak = math.Max(peak, cmplx.Abs(x))
	}
	return peak
}

// bounded is now over old, held back where that raises what old left little of, after
// both were set against their highest.
func bounded(old, now []complex128) []complex128 {
	floor := ghostFloor * largest(old)
	level := largest(now) / largest(old)
	q := make([]complex128, len(old))
	for i, h := range old {
		a := cmplx.Abs(h)
		if a == 0 {
			continue
		}
		q[i] = now[i] / h
		if raised := cmplx.Abs(q[i])/math.Max(level, 1) - 1; raised > 0 {
			q[i] *= complex(a*a/(a*a+floor*floor*raised), 0)
		}
	}
	return q
}

// carry takes a signal, its mean taken off, through a response q given at rising
// frequencies that lie evenly on a logarithmic scale.
func carry(volts []float64, rateHz float64, hz []float64, q []complex128) (mean float64, y []float64, err error) {
	n := len(volts)
	for _, v := range volts {
		mean += v / float64(n)
	}
	if math.IsNaN(mean) || math.IsInf(mean, 0) {
		return 0, nil, fmt.Errorf("board: there is a gap in the signal; take a stretch without one")
	}
	size := 3 * n // mirrored about both ends, so that no step is made
	x := make([]float64, size)
	for i := range n {
		v := volts[i] - mean
		x[n+i] = v
		x[n-1-i] = 2*(volts[0]-mean) - v
		x[size-1-i] = 2*(volts[n-1]-mean) - v
	}
	step := math.Log(hz[1] / hz[0])
	at := func(f float64) complex128 {
		p := math.Log(f/hz[0]) / step
		i := min(max(int(p), 0), len(q)-2)
		return q[i] + complex(p-float64(i), 0)*(q[i+1]-q[i])
	}
	fft := fourier.NewFFT(size)
	c := fft.Coefficients(nil, x)
	c[0] *= complex(real(at(rateHz/float64(size))), 0) // of the mirrored ends
	for i := 1; i < len(c); i++ {
		c[i] *= at(float64(i) * rateHz / float64(size))
	}
	x = fft.Sequence(x, c)
	y = make([]float64, n)
	for i := range y {
		y[i] = x[n+i] / float64(size)
	}
	return mean, y, nil
}
