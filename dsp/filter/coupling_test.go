package filter_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"pulsewright/acquire/simulate"
	"pulsewright/dsp/filter"
)

func uncoupled(t testing.TB, rateHz, couplingHz, floorHz float64) *filter.Cascade {
	t.Helper()
	s, err := filter.Uncouple(rateHz, couplingHz, floorHz)
	if err != nil {
		t.Fatal(err)
	}
	c, err := filter.NewCascade(s, rateHz)
	if err != nil {
		t.Fatal(err)
	}
	c.Start(0)
	return c
}

// TestUncoupleUndoesTheCapacitor: behind the capacitor it is the capacitor at the
// lower corner, H = jf/(jf + floor) of the analogue circuit at low frequencies.
func TestUncoupleUndoesTheCapacitor(t *testing.T) {
	for _, rateHz := range []float64{250, 1000, 48000} {
		for _, corner := range []float64{0.5, 2, 8, 20, 100} {
			const floor = 0.05
			couple, err := filter.RCHighPass(rateHz, corner)
			if err != nil {
				t.Fatal(err)
			}
			undo, err := filter.Uncouple(rateHz, corner, floor)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range []float64{0.01, 0.05, 0.5, 1.2, 5, 10} {
				got := couple.Response(f, rateHz) * undo.Response(f, rateHz)
				jf := complex(0, f)
				if want := jf / (jf + floor); cmplx.Abs(got-want) > 2e-4 {
					t.Errorf("%g Hz at rate %g, corner %g: %v, want %v", f, rateHz, corner, got, want)
				}
			}
			if g := cmplx.Abs(undo.Response(0, rateHz)); math.Abs(g/(corner/floor)-1) > 0.15 && corner < rateHz/20 {
				t.Errorf("gain at 0 Hz %g, want %g", g, corner/floor)
			}
			if err := undo.Check(); err != nil {
				t.Error(err)
			}
		}
	}
}

func TestUncoupleNoiseIsWhatComesOut(t *testing.T) {
	const rateHz, n = 1000.0, 1 << 19
	rng := rand.New(rand.NewPCG(6, 1))
	for _, c := range []struct{ corner, floor float64 }{{2, 0.5}, {8, 0.5}, {20, 0.2}} {
		f := uncoupled(t, rateHz, c.corner, c.floor)
		x := make([]float64, n)
		in, out := 0.0, 0.0
		for i := range x {
			x[i] = rng.NormFloat64()
			in += x[i] * x[i]
		}
		f.Process(x, x)
		for _, v := range x {
			out += v * v
		}
		got, want := math.Sqrt(out/in), filter.UncoupleNoise(c.corner, c.floor, 0, rateHz/2)
		if math.Abs(got/want-1) > 0.1 {
			t.Errorf("corner %g, floor %g: noise grows %.3f times, want %.3f", c.corner, c.floor, got, want)
		}
	}
}

func TestUncoupleRefuses(t *testing.T) {
	for _, c := range [][3]float64{{1000, 0.05, 0.05}, {1000, 200, 0.05}, {1000, 2, 0}, {1000, 2, math.NaN()}, {1000, math.NaN(), 0.05}, {100, 60, 0.05}, {1000, -1, 0.05}, {1000, 2, 10}} {
		if _, err := filter.Uncouple(c[0], c[1], c[2]); err == nil {
			t.Errorf("rate %g, corner %g, floor %g was taken", c[0], c[1], c[2])
		}
	}
}

// finger is an invented pulse without hum and noise, in volts, and its beats.
func finger(t testing.TB, seconds int, rateHz, noise float64) (volts []float64, beats []simulate.Beat) {
	t.Helper()
	c := simulate.Finger().Clean()
	c.RateHz = rateHz
	g, err := simulate.New(c)
	if err != nil {
		t.Fatal(err)
	}
	n := seconds * int(rateHz)
	counts := [][]int32{make([]int32, n)}
	g.Next(counts)
	channel := g.Channels()[0]
	volts = make([]float64, n)
	channel.Values(volts, counts[0])
	return volts, g.Truth().Beats[0]
}

// analogue puts volts through a coupling capacitor as the exact solution of the
// circuit for a signal that goes straight from sample to sample, which none of
// the filters here is made by.
func analogue(volts []float64, rateHz, cornerHz float64) []float64 {
	out := make([]float64, len(volts))
	a := 2 * math.Pi * cornerHz / rateHz
	decay := math.Exp(-a)
	gain := (1 - decay) / a
	y := 0.0
	for i := 1; i < len(volts); i++ {
		y = y*decay + (volts[i]-volts[i-1])*gain
		out[i] = y
	}
	return out
}

// shapeError is the rms of the difference from the truth, means and slow wander
// of each beat left out, as a share of the truth's rms over the same beats.
func shapeError(got, truth []float64, feet []int64) float64 {
	var e, p float64
	for k := 1; k < len(feet); k++ {
		g, w := got[feet[k-1]:feet[k]], truth[feet[k-1]:feet[k]]
		mg, mw := mean(g), mean(w)
		for i := range g {
			d := (g[i] - mg) - (w[i] - mw)
			e += d * d
			p += (w[i] - mw) * (w[i] - mw)
		}
	}
	return math.Sqrt(e / p)
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// footTime is where the pulse begins to rise, by the tangent of the steepest rise
// met with the level of the least value before it (intersecting tangents,
// Chiu et al., "Determination of pulse wave velocities with computerized
// algorithms", Am. Heart J. 1991), in samples.
func footTime(x []float64, near int64, rateHz float64) float64 {
	from, to := int(near)-int(0.15*rateHz), int(near)+int(0.3*rateHz)
	low, steep, at := math.Inf(1), 0.0, 0
	for i := max(1, from); i < min(to, len(x)-1); i++ {
		if s := (x[i+1] - x[i-1]) / 2; s > steep {
			steep, at = s, i
		}
	}
	for i := max(0, from); i <= at; i++ {
		low = math.Min(low, x[i])
	}
	return float64(at) - (x[at]-low)/steep
}

// TestCouplingUndone is the table: an invented finger pulse through 2, 8 and 20 Hz.
func TestCouplingUndone(t *testing.T) {
	const rateHz = 1000
	truth, beats := finger(t, 90, rateHz, 0)
	var feet []int64
	for _, b := range beats {
		if b.Foot > 30*rateHz && int(b.Foot) < len(truth)-rateHz {
			feet = append(feet, b.Foot)
		}
	}
	if len(feet) < 40 {
		t.Fatalf("%d feet", len(feet))
	}
	foot := func(x []float64) (bias, spread float64) {
		var d []float64
		for _, f := range feet {
			d = append(d, (footTime(x, f, rateHz)-footTime(truth, f, rateHz))/rateHz*1000)
		}
		bias = mean(d)
		for _, v := range d {
			spread += (v - bias) * (v - bias)
		}
		return bias, math.Sqrt(spread / float64(len(d)))
	}
	rows := "corner | as it comes: shape, foot | undone: shape, foot | undone with the corner 10 % off: shape, foot\n"
	for _, c := range []struct{ corner, mostShape, mostFoot float64 }{{2, 0.05, 2}, {8, 0.05, 2}, {20, 0.05, 2}} {
		coupled := analogue(truth, rateHz, c.corner)
		undone := make([]float64, len(coupled))
		uncoupled(t, rateHz, c.corner, 0.05).Process(undone, coupled)
		off := make([]float64, len(coupled))
		uncoupled(t, rateHz, c.corner*1.1, 0.05).Process(off, coupled)
		shape, plain, rough := shapeError(undone, truth, feet), shapeError(coupled, truth, feet), shapeError(off, truth, feet)
		b0, s0 := foot(coupled)
		b1, s1 := foot(undone)
		b2, s2 := foot(off)
		rows += fmt.Sprintf("%g Hz | %.0f %%, %+.1f ± %.1f ms | %.1f %%, %+.2f ± %.2f ms | %.1f %%, %+.2f ± %.2f ms\n", c.corner, 100*plain, b0, s0, 100*shape, b1, s1, 100*rough, b2, s2)
		if shape > c.mostShape || math.Abs(b1)+s1 > c.mostFoot {
			t.Errorf("corner %g Hz undone: shape off by %.1f %%, foot by %.2f ± %.2f ms; want at most %.0f %% and %g ms", c.corner, 100*shape, b1, s1, 100*c.mostShape, c.mostFoot)
		}
		if shape > plain/4 {
			t.Errorf("corner %g Hz: undone %.1f %% off, as it comes %.1f %%", c.corner, 100*shape, 100*plain)
		}
	}
	t.Log("\n" + rows)
}
