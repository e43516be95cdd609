package response

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pulsewright/dsp/filter"
)

// coupledStep is a voltage step at 48 kHz behind a capacitor, in closed form,
// with noise, decimated as a sound input is.
func coupledStep(t *testing.T, height, cornerHz, atSeconds, seconds, noise float64) (values []float64, rateHz float64) {
	t.Helper()
	const rate = 48000
	rng := rand.New(rand.NewPCG(1, uint64(cornerHz*1000)))
	x := make([]float64, int(seconds*rate))
	for i := range x {
		x[i] = 0.01 + noise*rng.NormFloat64()
		if s := float64(i)/rate - atSeconds; s >= 0 {
			x[i] += height * math.Exp(-2*math.Pi*cornerHz*s)
		}
	}
	d, err := filter.NewDecimator(rate, 48)
	if err != nil {
		t.Fatal(err)
	}
	return x[:d.Process(x, x)], 1000
}

func TestStepFindsCornerAndHeight(t *testing.T) {
	for _, corner := range []float64{0.2, 0.5, 2, 8, 20, 40} {
		for _, height := range []float64{1.5, -0.02} {
			for _, at := range []float64{1, 1.00037} {
				v, rate := coupledStep(t, height, corner, at, 5, math.Abs(height)*0.01)
				f, err := Step(v, rate)
				if err != nil {
					t.Errorf("corner %g, height %g: %v, %+v", corner, height, err, f)
					continue
				}
				within := 0.02
				if corner > 20 { // τ of 4 ms: the decimator's ringing is in the way
					within = 0.04
				}
				if math.Abs(f.CornerHz/corner-1) > within {
					t.Errorf("corner %.4g ± %.2g Hz, want %g", f.CornerHz, f.UncertaintyHz, corner)
				}
				if math.Abs(f.CornerHz-corner) > 5*f.UncertaintyHz+within*corner {
					t.Errorf("corner %.4g Hz is said to be known to ±%.2g, it is %g", f.CornerHz, f.UncertaintyHz, corner)
				}
				if math.Abs(f.Height/height-1) > within {
					t.Errorf("corner %g: height %.4g, want %g", corner, f.Height, height)
				}
				// The decimator's delay is 28 samples.
				if math.Abs(f.At-28-1000*at) > 0.6 {
					t.Errorf("corner %g: step at sample %.2f, want %.2f", corner, f.At-28, 1000*at)
				}
			}
		}
	}
}

func TestStepRefuses(t *testing.T) {
	noise := make([]float64, 5000)
	rng := rand.New(rand.NewPCG(4, 4))
	for i := range noise {
		noise[i] = rng.NormFloat64()
	}
	if _, err := Step(noise, 1000); !errors.Is(err, ErrNoStep) {
		t.Errorf("noise: %v", err)
	}
	pulse := make([]float64, 5000)
	for i := range pulse {
		pulse[i] = math.Sin(2 * math.Pi * 1.2 * float64(i) / 1000)
	}
	if _, err := Step(pulse, 1000); !errors.Is(err, ErrNoStep) {
		t.Errorf("a slow sine: %v", err)
	}
	stays, _ := coupledStep(t, 1, 0.0001, 1, 5, 0.001)
	if f, err := Step(stays, 1000); !errors.Is(err, ErrNotDecaying) {
		t.Errorf("a step that stays: %v, %+v", err, f)
	}
	if _, err := Step(make([]float64, 5000), 1000); !errors.Is(err, ErrNoStep) {
		t.Errorf("silence: %v", err)
	}
	two, _ := coupledStep(t, 1, 4, 1, 5, 0.001)
	b, _ := coupledStep(t, -0.9, 0.3, 1, 5, 0.001)
	for i := range two {
		two[i] += b[i]
	}
	if f, err := Step(two, 1000); err == nil {
		t.Errorf("two capacitors passed for one: %+v", f)
	}
	soon, _ := coupledStep(t, 1, 4, 0.05, 5, 0.001)
	if _, err := Step(soon, 1000); !errors.Is(err, ErrNoStep) {
		t.Errorf("a step at the very start: %v", err)
	}
}

// TestSecondStepEndsTheFit: connecting and taking away again two seconds later.
func TestSecondStepEndsTheFit(t *testing.T) {
	on, rate := coupledStep(t, 1, 3, 1, 6, 0.002)
	off, _ := coupledStep(t, -0.8, 3, 2.5, 6, 0.002)
	for i := range on {
		on[i] += off[i]
	}
	f, err := Step(on, rate)
	if err != nil || math.Abs(f.CornerHz-3) > 0.06 || math.Abs(f.Height-1) > 0.02 {
		t.Errorf("%+v, %v; want 3 Hz and 1", f, err)
	}
}

func TestTone(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	for _, c := range []struct{ hz, near, rate, rms float64 }{{1000, 1000, 48000, 0.5}, {997.3, 1000, 44100, 0.01}, {1043.21, 1000, 48000, 0.3}, {100, 100, 8000, 0.7}} {
		v := make([]float64, int(c.rate))
		for i := range v {
			v[i] = 0.1 + c.rms*math.Sqrt2*math.Sin(2*math.Pi*c.hz*float64(i)/c.rate+1) + c.rms*0.02*rng.NormFloat64()
		}
		f, err := Tone(v, c.rate, c.near)
		if err != nil || math.Abs(f.FreqHz-c.hz) > 0.01 || math.Abs(f.RMS/c.rms-1) > 0.001 {
			t.Errorf("%+v, %v; want %g Hz, %g rms", f, err, c.hz, c.rms)
		}
	}
	v := make([]float64, 48000)
	for i := range v {
		v[i] = rng.NormFloat64()
	}
	if _, err := Tone(v, 48000, 1000); !errors.Is(err, ErrNoTone) {
		t.Errorf("noise: %v", err)
	}
	for i := range v {
		v[i] = math.Sin(2 * math.Pi * 1500 * float64(i) / 48000)
	}
	if _, err := Tone(v, 48000, 1000); !errors.Is(err, ErrNoTone) {
		t.Errorf("another tone: %v", err)
	}
	if _, err := Tone(make([]float64, 48000), 48000, 1000); !errors.Is(err, ErrNoTone) {
		t.Errorf("silence: %v", err)
	}
	if _, err := Tone(v[:100], 48000, 1000); err == nil {
		t.Error("two periods passed for a tone")
	}
}
