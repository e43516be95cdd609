package response

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"pulsewright/dsp/filter"
)

// noisyCard is card with white noise of so many decibels below full scale.
func noisyCard(x []float64, s Sweep, noiseDBFS float64, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 3))
	rms := math.Pow(10, noiseDBFS/20)
	y := card(x, s, seed)
	for i := range y {
		y[i] += rms * rng.NormFloat64()
	}
	return y
}

// lowpass is a Butterworth low-pass of the given order and its closed form.
func lowpass(t *testing.T, rateHz, cornerHz float64, order int) (put func(x []float64) []float64, want func(f float64) complex128) {
	t.Helper()
	if order == 1 {
		return func(x []float64) []float64 { return rc(x, rateHz, cornerHz, false) }, func(f float64) complex128 { return 1 / complex(1, f/cornerHz) }
	}
	sections, err := filter.ButterworthLowPass(rateHz, cornerHz, order)
	if err != nil {
		t.Fatal(err)
	}
	return func(x []float64) []float64 {
			c, err := filter.NewCascade(sections, rateHz)
			if err != nil {
				t.Fatal(err)
			}
			c.Start(0)
			y := make([]float64, len(x))
			c.Process(y, x)
			return y
		}, func(f float64) complex128 { // poles on the circle, left half
			h := complex(1, 0)
			for k := range order {
				pole := cmplx.Rect(1, math.Pi*(0.5+(2*float64(k)+1)/(2*float64(order))))
				h *= -pole / (complex(0, f/cornerHz) - pole)
			}
			return h
		}
}

// TestSweepThroughRealBoards: what this project is for are low-passes that pass
// next to nothing above 100 Hz, and sound cards that hiss.
func TestSweepThroughRealBoards(t *testing.T) {
	s := Sweep{RateHz: 48000, Seconds: 20}
	padded := make([]float64, s.Total())
	copy(padded, s.Samples())
	for _, noise := range []float64{-100, -70, -60} {
		loop := noisyCard(padded, s, noise, 1)
		for _, order := range []int{1, 2, 4} {
			for _, corner := range []float64{16, 40, 150} {
				put, want := lowpass(t, s.RateHz, corner, order)
				through := put(padded)
				name := fmt.Sprintf("order %d, %g Hz, card %g dBFS", order, corner, noise)
				r, err := Measure(s, loop, noisyCard(through, s, noise, 2))
				if err != nil {
					t.Errorf("%s: %v", name, err)
					continue
				}
				checkLowpass(t, name, r, corner, want)
				if noise != -60 { // the hardest is enough
					continue
				}
				for _, late := range []int{-1024, -256, 256, 1024, 9000} {
					shifted := make([]float64, len(through))
					for i := range shifted {
						if j := i - late; j >= 0 && j < len(through) {
							shifted[i] = through[j]
						}
					}
					if _, err := Measure(s, loop, noisyCard(shifted, s, noise, 2)); !errors.Is(err, ErrMoved) {
						t.Errorf("%s: %d samples late: %v", name, late, err)
					}
				}
			}
		}
	}
}

func checkLowpass(t *testing.T, name string, r Response, corner float64, want func(f float64) complex128) {
	t.Helper()
	if len(r.Corners) != 1 || r.Corners[0].Rising || math.Abs(r.Corners[0].FreqHz/corner-1) > 0.005 {
		t.Errorf("%s: corners %+v", name, r.Corners)
	}
	if r.TrustedLowHz > 1 || r.TrustedHighHz < 2*corner {
		t.Errorf("%s: trusted from %.3g to %.3g Hz", name, r.TrustedLowHz, r.TrustedHighHz)
	}
	dB, degrees := 0.0, 0.0
	for i, f := range r.FreqHz {
		if f < r.TrustedLowHz || f > math.Min(r.TrustedHighHz, 2*corner) || r.Trust[i] < leastTrust {
			continue
		}
		h := want(f)
		dB = math.Max(dB, math.Abs(r.GainDB[i]-20*math.Log10(cmplx.Abs(h))))
		degrees = math.Max(degrees, math.Abs(math.Remainder(r.PhaseDegrees[i]-cmplx.Phase(h)*180/math.Pi, 360)))
	}
	t.Logf("%s: trusted %.2f to %.0f Hz; up to an octave above the corner within %.2f dB, %.1f°", name, r.TrustedLowHz, r.TrustedHighHz, dB, degrees)
	if dB > 0.1 || degrees > 1 {
		t.Errorf("%s: off by %.2f dB and %.1f°", name, dB, degrees)
	}
}

// TestLeastPhase holds Bode's relation against circuits whose phase is known.
func TestLeastPhase(t *testing.T) {
	for name, h := range map[string]func(f float64) complex128{
		"low-pass 40 Hz": func(f float64) complex128 { return 1 / complex(1, f/40) },
		"high-pass 2, low-pass 2": func(f float64) complex128 {
			a := complex(0, f/2)
			return a / (1 + a) / complex(1, f/150) / complex(1, f/150)
		},
		"resonance of Q 3 at 100 Hz": func(f float64) complex128 { return 1 / complex(1-f*f/1e4, f/300) },
	} {
		var r Response
		var at []int
		for f := LowHz; f < HighHz; f *= math.Pow(2, 1.0/pointsPerOctave) {
			at = append(at, len(at))
			r.FreqHz = append(r.FreqHz, f)
			r.GainDB = append(r.GainDB, 20*math.Log10(cmplx.Abs(h(f))))
		}
		worst := 0.0
		for i, p := range leastPhase(r, at) {
			if f := r.FreqHz[i]; f > 5 && f < 1000 {
				worst = math.Max(worst, math.Abs(math.Remainder(p-cmplx.Phase(h(f))*180/math.Pi, 360)))
			}
		}
		t.Logf("%s: within %.1f°", name, worst)
		if worst > 6 {
			t.Errorf("%s: off by %.1f°", name, worst)
		}
	}
}
