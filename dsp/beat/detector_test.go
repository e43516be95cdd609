package beat

import (
	"math"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/dsptest"
)

// Both detectors keep one contract.
func TestDetectors(t *testing.T) {
	for _, kind := range []Kind{ECG, Pulse} {
		for _, rate := range []float64{125, 500} {
			x := signal(kind, rate, steady(75, 0.7, 40), 40)
			noise(x, 1e-6, 4)
			t.Run(string(kind), func(t *testing.T) {
				dsptest.Detector(t, func() dsptest.Finder[Beat] {
					var d Detector
					var err error
					if kind == ECG {
						d, err = NewECG(rate)
					} else {
						d, err = NewPulse(rate)
					}
					if err != nil {
						t.Fatal(err)
					}
					return d
				}, x, func(b Beat) int64 { return b.Sample })
			})
		}
	}
}

// rmssd of beats, seconds, over intervals of which both ends are matched to normal beats.
func rmssd(samples []int64, rateHz float64) float64 {
	sum, n, last := 0.0, 0, 0.0
	for i := 1; i < len(samples); i++ {
		rr := float64(samples[i]-samples[i-1]) / rateHz
		if last > 0 && math.Abs(rr-last) < 0.2*last {
			sum += (rr - last) * (rr - last)
			n++
		}
		last = rr
	}
	return math.Sqrt(sum / float64(n))
}

// One feature of the QRS is marked in each beat: RMSSD within 5 % of the annotations' in
// records of normal rhythm; and where R and S are all but equal in height and take turns
// in being the greater, the mark does not jump (intervals of 800 ms, so RMSSD is nothing
// but the marks' error).
func TestECGFiducial(t *testing.T) {
	t.Parallel()
	for _, c := range mitCases(t, 0) {
		if c.name != "100" && c.name != "234" && c.name != "212" {
			continue
		}
		got, want := rmssd(c.found(t), mitdata.RateHz), rmssd(c.ref.Samples, mitdata.RateHz)
		t.Logf("%s: RMSSD %.1f ms, of the annotations %.1f ms", c.name, 1000*got, 1000*want)
		if !(math.Abs(got-want) < 0.05*want) {
			t.Errorf("%s: RMSSD %.1f ms, want the annotations' %.1f ms within 5 %%", c.name, 1000*got, 1000*want)
		}
	}
	const rate = 360
	m := makeECG(rate, steady(75, 0.7, 60), 60, func(i int) qrs { return qrs{1e-3, 0.06, 0.2e-3, 0.18, 0.38} })
	for i, r := range m.r {
		depth := -0.9e-3 - 0.2e-3*float64(i%2)
		for k := int64(0); k < 22; k++ {
			if at := r + 4 + k; at < int64(len(m.x)) {
				m.x[at] += depth * (1 - math.Abs(float64(k)-11)/11)
			}
		}
	}
	noise(m.x, 10e-6, 3)
	if v := rmssd(runECG(t, m.x, rate, defaultECGParams())[2:], rate); !(v < 0.004) {
		t.Errorf("R and S in turn the greater: RMSSD %.1f ms, want less than 4", 1000*v)
	} else {
		t.Logf("R and S in turn the greater: RMSSD %.1f ms", 1000*v)
	}
}
