package filter_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"pulsewright/dsp/filter"
)

func decimator(t testing.TB, rateHz float64, ratio int) *filter.Decimator {
	t.Helper()
	d, err := filter.NewDecimator(rateHz, ratio)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestDecimatorBands sums the taps at each frequency anew: pass-band within 0.001 dB up
// to 0.4, at least 80 dB down from 0.5 of the output rate on.
func TestDecimatorBands(t *testing.T) {
	for _, c := range []struct {
		rate  float64
		ratio int
	}{{8000, 2}, {11025, 3}, {44100, 44}, {48000, 48}, {96000, 96}, {192000, 192}} {
		d := decimator(t, c.rate, c.ratio)
		taps, out := d.Taps(), d.OutRateHz()
		gain := func(hz float64) float64 {
			// Goertzel-like rotation, independent of Response.
			var sum complex128
			z, step := complex(1, 0), cmplx.Exp(complex(0, -2*math.Pi*hz/c.rate))
			for _, h := range taps {
				sum += complex(h, 0) * z
				z *= step
			}
			if r := d.Response(hz); cmplx.Abs(sum-r) > 1e-9 {
				t.Errorf("%g Hz: response declared %v, summed %v", hz, r, sum)
			}
			return 20 * math.Log10(cmplx.Abs(sum))
		}
		var ripple float64
		stop := math.Inf(-1)
		for i := range 41 {
			ripple = math.Max(ripple, math.Abs(gain(filter.DecimatorPass*out*float64(i)/40)))
		}
		for i := range 400 {
			stop = math.Max(stop, gain(math.Min(out*filter.DecimatorStop*(1+float64(i)/400), c.rate/2)))
			stop = math.Max(stop, gain(out/2+(c.rate/2-out/2)*float64(i)/400))
		}
		t.Logf("%g Hz by %d: pass band within %.5f dB, stop band %.1f dB, delay %.1f ms", c.rate, c.ratio, ripple, stop, 1e3*d.DelaySeconds())
		if ripple > 0.001 || stop > -80 {
			t.Errorf("%g Hz by %d: pass band within %g dB, stop band %g dB", c.rate, c.ratio, ripple, stop)
		}
	}
}

// TestDecimatorSignal: a slow sine comes out as itself, 28 output samples late; one
// above half the output rate does not come out; an offset makes no step.
func TestDecimatorSignal(t *testing.T) {
	for _, c := range []struct {
		rate  float64
		ratio int
	}{{48000, 48}, {44100, 44}, {192000, 192}, {5000, 5}} {
		d := decimator(t, c.rate, c.ratio)
		n := int(c.rate)
		x := make([]float64, n)
		for i := range x {
			s := float64(i) / c.rate
			x[i] = 2.5 + math.Sin(2*math.Pi*7*s) + math.Sin(2*math.Pi*d.OutRateHz()*0.93*s)
		}
		y := make([]float64, d.OutLen(n))
		if got := d.Process(y, x); got != len(y) || got != (n+c.ratio-1)/c.ratio {
			t.Fatalf("%d samples from %d by %d, OutLen says %d", got, n, c.ratio, len(y))
		}
		for j := 2 * filter.DecimatorDelay; j < len(y); j++ {
			s := float64((j-d.DelaySamples())*c.ratio) / c.rate
			if want := 2.5 + math.Sin(2*math.Pi*7*s); math.Abs(y[j]-want) > 2e-4 {
				t.Fatalf("%g Hz by %d: sample %d is %g, want %g", c.rate, c.ratio, j, y[j], want)
			}
		}
		d.Reset()
		for i := range x {
			x[i] = 2.5
		}
		d.Process(y, x)
		for j, v := range y {
			if math.Abs(v-2.5) > 1e-12 {
				t.Fatalf("constant: sample %d is %v", j, v)
			}
		}
	}
}

func TestDecimatorContract(t *testing.T) {
	for _, ratio := range []int{1, 2, 3, 48, 44, 400} {
		d := decimator(t, 48000, ratio)
		x := offsetNoise(30011)
		want := make([]float64, d.OutLen(len(x)))
		d.Process(want, x)
		for _, size := range []int{1, 7, 47, 48, 49, 480, 4096, 12345} {
			d.Reset()
			var got []float64
			for i := 0; i < len(x); i += size {
				piece := x[i:min(i+size, len(x))]
				y := make([]float64, d.OutLen(len(piece)))
				if n := d.Process(y, piece); n != len(y) {
					t.Fatalf("ratio %d: %d samples, OutLen said %d", ratio, n, len(y))
				}
				got = append(got, y...)
			}
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Fatalf("ratio %d, blocks of %d: differs from one call", ratio, size)
			}
		}
		d.Reset()
		in := append([]float64(nil), x...)
		n := d.Process(in, in)
		if fmt.Sprint(in[:n]) != fmt.Sprint(want) {
			t.Errorf("ratio %d: in place differs", ratio)
		}
		y := make([]float64, 2000)
		if a := testing.AllocsPerRun(20, func() { d.Process(y, x[:1999]) }); a != 0 {
			t.Errorf("ratio %d: allocates", ratio)
		}
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("ratio %d: no panic for a short dst", ratio)
				}
			}()
			d.Reset()
			d.Process(nil, x[:1])
		}()
	}
}

func TestRatioFor(t *testing.T) {
	for rate, want := range map[float64]int{25: 1, 250: 1, 1000: 1, 4000: 1, 4001: 4, 5400: 5, 5600: 6, 7900: 8, 8000: 8, 11025: 11, 22050: 22, 44100: 44, 48000: 48, 96000: 96, 192000: 192, math.NaN(): 1} {
		if got := filter.RatioFor(rate); got != want {
			t.Errorf("%g Hz: ratio %d, want %d", rate, got, want)
		}
	}
	if got := decimator(t, 44100, 44).OutRateHz(); math.Abs(got-1002.2727272727273) > 1e-9 {
		t.Errorf("44.1 kHz by 44 is %g Hz", got)
	}
}

func BenchmarkDecimator(b *testing.B) {
	for _, rate := range []float64{48000, 192000} {
		b.Run(fmt.Sprintf("%g kHz", rate/1000), func(b *testing.B) {
			d := decimator(b, rate, filter.RatioFor(rate))
			x, y := offsetNoise(int(rate)), make([]float64, 1001)
			for b.Loop() {
				d.Process(y, x)
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N), "µs/second")
		})
	}
}
