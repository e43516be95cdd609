package beat

import (
	"fmt"
	"math"
	"testing"
)

// alternates is a finger whose pulses alternate in height, as in a tired heart or with each
// second breath.
type alternates struct {
	bpm, weak float64
	finger
}

func alternating() (list []alternates) {
	for _, bpm := range []float64{100, 120, 140, 155, 170, 185, 200} {
		for _, weak := range []float64{1, 0.8, 0.6, 0.5, 0.4} {
			n := 0
			f := trainOf(250, bpm, 60, 0.2, 0.33, func(float64) float64 {
				n++
				if n%2 == 0 {
					return weak
				}
				return 1
			})
			noise(f.x, 0.005, 3)
			list = append(list, alternates{bpm, weak, f})
		}
	}
	return list
}

// Pulses that alternate in height are never read as half their rate, and the right one is
// shown.
func TestAlternatingPulsesAreNeverHalved(t *testing.T) {
	for _, a := range alternating() {
		w := watch(t, MonitorConfig{Kind: Pulse, RateHz: 250, Low: math.NaN(), High: math.NaN()})
		right, wrong := 0, 0
		var first Reading
		w.hear(a.x, func(at float64, r Reading) {
			switch {
			case r.State != StateReading:
			case near(r.RateBPM, a.bpm):
				right++
			default:
				if wrong == 0 {
					first = r
				}
				wrong++
			}
		})
		t.Logf("%g bpm, every second %g high: right %d, wrong %d of 600; at the end %v", a.bpm, a.weak, right, wrong, w.Reading())
		if wrong > 0 {
			t.Errorf("%g bpm, every second %g high: %d readings of 600 wrong, the first %v", a.bpm, a.weak, wrong, first)
		}
		if right < 500 {
			t.Errorf("%g bpm, every second %g high: %d readings of 600 are right, want 500", a.bpm, a.weak, right)
		}
	}
}

// A P wave marked now and then leaves the rate of an ECG alone, also where the start or the
// end of the memory cuts an interval in two; where hardly an interval is whole there are
// broken ones.
func TestMeterPairs(t *testing.T) {
	for _, c := range []struct {
		rr     []float64
		bpm    float64
		broken int
	}{
		{[]float64{0.28, 1, 1, 1}, 60, 0},
		{[]float64{1, 0.72, 0.28, 0.72, 0.28, 1, 1, 1, 1, 1, 0.72, 0.28}, 80, 3},
		{[]float64{0.28, 0.72, 0.28, 0.72, 0.28, 1, 1, 1, 1, 1, 1, 1}, 60, 0},
		{[]float64{0.16, 0.64, 0.8, 0.16, 0.64, 0.16, 0.64, 0.16, 0.8, 0.64}, 60 * 10 / 4.8, 4},
		{[]float64{0.8, 0.7, 0.34, 1, 0.6, 0.9, 0.45, 0.75}, 60 * 8 / 5.54, 1},
	} {
		m := rateMeter{p: defaultRateParams(), short: 0.36}
		for _, x := range c.rr {
			m.add(x, 0.2)
		}
		if got, _ := m.bpm(); math.Abs(got-c.bpm) > 1e-9 || m.broken() != c.broken {
			t.Errorf("%v: %.2f bpm, %d broken; want %.2f, %d", c.rr, got, m.broken(), c.bpm, c.broken)
		}
	}
}

// From a clean start the first rate stands within 6 s.
func TestFirstRate(t *testing.T) {
	for _, kind := range []Kind{ECG, Pulse} {
		for _, bpm := range []float64{60, 72, 90, 120} {
			t.Run(fmt.Sprintf("%s %g bpm", kind, bpm), func(t *testing.T) {
				first := math.Inf(1)
				w := watch(t, MonitorConfig{Kind: kind, RateHz: 250, Low: math.NaN(), High: math.NaN()})
				w.hear(signal(kind, 250, steady(bpm, 0.5, 20), 20), func(at float64, r Reading) {
					if r.State == StateReading {
						first = min(first, at)
					}
				})
				t.Logf("after %.1f s", first)
				if first > 6 {
					t.Errorf("the first rate stands after %.1f s, want 6", first)
				}
			})
		}
	}
}

// BenchmarkMonitor: detector, gate and reading, of a chest lead and of a finger.
func BenchmarkMonitor(b *testing.B) {
	for _, kind := range []Kind{ECG, Pulse} {
		b.Run(string(kind), func(b *testing.B) {
			x := signal(kind, 250, steady(72, 0.5, 300), 300)
			m, err := NewMonitor(MonitorConfig{Kind: kind, RateHz: 250, Low: math.NaN(), High: math.NaN()})
			if err != nil {
				b.Fatal(err)
			}
			dst := make([]Beat, 0, 1024)
			b.ReportAllocs()
			for b.Loop() {
				m.Reset()
				dst = m.Process(dst[:0], x)
			}
			b.ReportMetric(300*float64(b.N)/b.Elapsed().Seconds(), "×realtime")
		})
	}
}
