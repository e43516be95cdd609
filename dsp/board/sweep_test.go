package board_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"pulsewright/dsp/board"
	"pulsewright/dsp/response"
)

// played is a sweep through a card with a noise of −60 dBFS rms and, when gains at hz are
// given, through a board that brings it to 0.3 of full scale at most.
func played(s response.Sweep, hz []float64, gains []complex128, r *rand.Rand) []float64 {
	x := make([]float64, s.Total())
	copy(x[311:], s.Samples())
	if gains != nil {
		most := 0.0
		for _, g := range gains {
			most = math.Max(most, cmplx.Abs(g))
		}
		fft := fourier.NewFFT(len(x))
		c := fft.Coefficients(nil, x)
		step := math.Log(hz[1] / hz[0])
		for i := range c {
			p := math.Log(math.Max(float64(i)*s.RateHz/float64(len(x)), hz[0])/hz[0]) / step
			j := min(int(p), len(hz)-2)
			g := gains[j] + complex(p-float64(j), 0)*(gains[j+1]-gains[j])
			c[i] *= g / complex(most*float64(len(x)), 0)
		}
		x = fft.Sequence(nil, c)
	}
	for i := range x {
		x[i] = 0.3*x[i] + 1e-3*r.NormFloat64()
	}
	return x
}

// TestFaultsThroughASweep: lamp clips A and B with one part that is not as their files say,
// measured as a maker measures (a sweep through a card with a noise of −60 dBFS, level
// unknown): of the faults that bend the shape by half a dB or more, 9 in 10 are named.
func TestFaultsThroughASweep(t *testing.T) {
	r := rand.New(rand.NewPCG(2018, 1))
	sweep := response.Sweep{RateHz: 8000, Seconds: 6}
	hz := board.Grid(0.05, 4000, 60)
	loop := played(sweep, nil, nil, r)
	named, runs := 0, 0
	for _, name := range []string{"lamp_clip_a", "lamp_clip_b"} {
		whole, err := board.Example(name)
		if err != nil {
			t.Fatal(err)
		}
		b := whole.WithoutSensor()
		for _, c := range b.Components() {
			if c.Stage < 1 {
				continue
			}
			factor := []float64{0.2, 5}[r.IntN(2)]
			if c.At > 0 {
				factor = 1e-4 / c.At // at its end
			}
			m, err := response.Measure(sweep, loop, played(sweep, hz, board.ResponseWith(b, c.Ref, factor, hz), r))
			if err != nil { // too little comes through to be judged by
				t.Logf("%s: %s × %g: %v", name, c.Ref, factor, err)
				continue
			}
			found, err := b.Compare(trusted(&m))
			if err != nil {
				t.Fatalf("%s × %g: %v", c.Ref, factor, err)
			}
			if found.Agrees {
				continue
			}
			runs++
			hit := false
			for _, s := range found.Suspects {
				hit = hit || s.Ref == c.Ref
			}
			if hit {
				named++
			} else {
				t.Logf("%s: %s × %g: %s", name, c.Ref, factor, found.Text)
			}
		}
	}
	t.Logf("%d of %d named", named, runs)
	if runs < 10 || 10*named < 9*runs {
		t.Errorf("%d of %d named", named, runs)
	}
}

// trusted is the part of a sweep's result that can be judged by.
func trusted(m *response.Response) board.Measured {
	measured := board.Measured{Shape: true}
	for i, f := range m.FreqHz {
		if f >= m.TrustedLowHz && f <= m.TrustedHighHz {
			measured.FreqHz, measured.GainDB = append(measured.FreqHz, f), append(measured.GainDB, m.GainDB[i])
		}
	}
	return measured
}
