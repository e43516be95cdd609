package mains

import (
	"math"
	"testing"

	"pulsewright/dsp"
	"pulsewright/dsp/dsptest"
	"pulsewright/dsp/filter"
)

var _ dsp.Stream = (*Canceller)(nil)

func newCanceller(t testing.TB, cfg Config) *Canceller {
	t.Helper()
	c, err := NewCanceller(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCancellerIsAStream(t *testing.T) {
	dsptest.Stream(t, func() dsp.Stream { return newCanceller(t, Config{RateHz: 1000}) })
}

// left is the root mean square of got − want, over all samples after skip and over
// those 100–400 ms after an R peak.
func left(got, want []float64, rate float64, skip int, peaks []int) (all, after float64) {
	var s, n float64
	for i := skip; i < len(got); i++ {
		d := got[i] - want[i]
		s += d * d
		n++
	}
	var sa, na float64
	for _, p := range peaks {
		for i := p + int(0.1*rate); i < min(len(got), p+int(0.4*rate)); i++ {
			if i >= skip {
				d := got[i] - want[i]
				sa += d * d
				na++
			}
		}
	}
	return math.Sqrt(s / n), math.Sqrt(sa / na)
}

// An ECG with R of 1 mV beside hum, canceller against notches (fundamental and
// two harmonics each). Ringing is what a notch makes of the clean ECG 100–400 ms
// after R; residual hum is what it leaves of the hum alone, both once settled
// (from 6 s). Q is the frequency over the bandwidth.
func TestCancellerAgainstNotches(t *testing.T) {
	const rate = 1000
	n := 20 * rate
	clean, peaks := ecg(rate, 72, 0.7, n)
	for i := range clean {
		clean[i] *= 1e-3
	}
	t.Logf("| hum µV peak | hum Hz | filter | residual hum µV rms | ringing 100–400 ms after R µV rms | whole error there µV rms |")
	t.Logf("|---|---|---|---|---|---|")
	for _, c := range []struct{ amp, freq float64 }{{100e-6, 50}, {100e-6, 50.2}, {1e-3, 50.2}, {1e-3, 49.8}, {10e-6, 50.2}} {
		dirty := append([]float64(nil), clean...)
		addHum(dirty, rate, c.freq, 1, c.amp, 0.1*c.amp, 0.3*c.amp)
		humOnly := make([]float64, n)
		addHum(humOnly, rate, c.freq, 1, c.amp, 0.1*c.amp, 0.3*c.amp)
		noise := make([]float64, n)
		addNoise(noise, 2e-6, 5)
		for i := range dirty {
			dirty[i] += noise[i]
		}
		zero := make([]float64, n)
		row := func(name string, run func() dsp.Stream) (hum, ring, whole float64) {
			out := make([]float64, n)
			run().Process(out, humOnly)
			hum, _ = left(out, zero, rate, 6*rate, peaks)
			run().Process(out, clean)
			_, ring = left(out, clean, rate, 6*rate, peaks)
			run().Process(out, dirty)
			for i := range out {
				out[i] -= noise[i]
			}
			_, whole = left(out, clean, rate, 6*rate, peaks)
			t.Logf("| %g | %g | %s | %.3g | %.3g | %.3g |", c.amp*1e6, c.freq, name, hum*1e6, ring*1e6, whole*1e6)
			return hum, ring, whole
		}
		hum, ring, whole := row("canceller", func() dsp.Stream { return newCanceller(t, Config{RateHz: rate}) })
		for _, q := range []float64{5, 10, 30} {
			s, err := filter.Notch(rate, 50, 50/q, 3)
			if err != nil {
				t.Fatal(err)
			}
			_, r, w := row("notch Q "+map[float64]string{5: "5", 10: "10", 30: "30"}[q], func() dsp.Stream {
				f, err := filter.NewCascade(s, rate)
				if err != nil {
					t.Fatal(err)
				}
				return f
			})
			if ring > 0.1*r {
				t.Errorf("ringing %v, notch of Q %v %v", ring, q, r)
			}
			if whole > w {
				t.Errorf("hum %v V at %v Hz: whole error %v, notch of Q %v %v", c.amp, c.freq, whole, q, w)
			}
		}
		// −34 dB of the whole hum's rms.
		if limit := 0.02 * c.amp * math.Sqrt(1.1/2); hum > limit || whole > limit+1e-6 {
			t.Errorf("hum %v V at %v Hz: left %v, with an ECG %v", c.amp, c.freq, hum, whole)
		}
	}
}
