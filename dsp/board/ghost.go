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
	mean := 0.0
	for _, v := range volts {
		mean += v / float64(n)
	}
	if math.IsNaN(mean) || math.IsInf(mean, 0) {
		return nil, fmt.Errorf("board: ghost: there is a gap in the signal; take a stretch without one")
	}
	size := 3 * n // mirrored about both ends, so that no step is made
	x := make([]float64, size)
	for i := range n {
		v := volts[i] - mean
		x[n+i] = v
		x[n-1-i] = 2*(volts[0]-mean) - v
		x[size-1-i] = 2*(volts[n-1]-mean) - v
	}
	g := &Ghost{Volts: make([]float64, n)}
	r := g.ratio(present, changed, rateHz, rateHz/float64(size))
	fft := fourier.NewFFT(size)
	c := fft.Coefficients(nil, x)
	c[0] *= r(rateHz / float64(size)) // of the mirrored ends
	for i := 1; i < len(c); i++ {
		c[i] *= r(float64(i) * rateHz / float64(size))
	}
	y := fft.Sequence(nil, c)
	old, err := present.Figures([]float64{1, 2})
	if err != nil {
		return nil, err
	}
	now, err := changed.Figures([]float64{1, 2})
	if err != nil {
		return nil, err
	}
	mean += now.Span.RestVolts - old.Span.RestVolts
	held := 0
	for i := range g.Volts {
		v := mean + y[n+i]/float64(size)
		if w := math.Min(math.Max(v, now.Span.LowVolts), now.Span.HighVolts); w != v {
			v = w
			held++
		}
		g.Volts[i] = v
	}
	g.Clipped = float64(held) / float64(n)
	return g, nil
}

// ratio is the bounded quotient of the responses, as a function of frequency from lowHz to
// half the rate; it fills in the honest band.
func (g *Ghost) ratio(present, changed *Board, rateHz, lowHz float64) func(hz float64) complex128 {
	hz := Grid(lowHz*0.99, rateHz/2*1.01, ghostPerDecade)
	old, now := present.Response(hz), changed.Response(hz)
	peak := 0.0
	for _, h := range old {
		peak = math.Max(peak, cmplx.Abs(h))
	}
	q := make([]complex128, len(hz))
	for i, h := range old {
		a, floor := cmplx.Abs(h), ghostFloor*peak
		q[i] = now[i] / h
		if raised := cmplx.Abs(q[i]) - 1; raised > 0 {
			q[i] *= complex(a*a/(a*a+floor*floor*raised), 0)
		}
		if a > 2*floor {
			if g.LowHz == 0 {
				g.LowHz = hz[i]
			}
			g.HighHz = math.Min(hz[i], rateHz/2)
		}
	}
	step := math.Log(hz[1] / hz[0])
	return func(f float64) complex128 {
		at := math.Log(f/hz[0]) / step
		i := min(max(int(at), 0), len(q)-2)
		w := complex(at-float64(i), 0)
		return q[i] + w*(q[i+1]-q[i])
	}
}
