package beat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pulsewright/acquire/simulate"
)

// bench is an input with no heart in it, as a maker's bench has them.
type bench struct {
	name   string
	rateHz float64
	step   float64 // one count in the input's unit, 0 unknown
	x      []float64
}

// benches are ten minutes each of what is no heart, invented here, by a seed; size is a
// beat's.
func benches(t testing.TB, kind Kind, seed uint64) (list []bench) {
	t.Helper()
	const seconds = 600
	size := 1.0
	if kind == ECG {
		size = 1e-3
	}
	add := func(name string, rate, step float64, f func(r *rand.Rand, at float64) float64) {
		r := rand.New(rand.NewPCG(uint64(len(list)), 77+seed))
		x := make([]float64, int(seconds*rate))
		for i := range x {
			x[i] = f(r, float64(i)/rate)
			if step > 0 {
				x[i] = step * math.Round(x[i]/step)
			}
		}
		list = append(list, bench{name, rate, step, x})
	}
	sine := func(hz, at float64) float64 { return math.Sin(2 * math.Pi * hz * at) }
	add("sensor off, the converter moves by one count", 250, 1, func(r *rand.Rand, _ float64) float64 { return 512 + float64(r.IntN(2)) })
	add("sensor off, by two counts", 250, 1, func(r *rand.Rand, _ float64) float64 { return 512 + float64(r.IntN(3)) })
	slow := 0.0
	add("sensor off, slowly by two counts, step not known", 250, 0, func(r *rand.Rand, _ float64) float64 {
		slow += 0.05*r.NormFloat64() - 0.02*slow
		return 0.005 * math.Round(max(-1, min(1, 4*slow)))
	})
	add("converter's noise", 250, 0.001*size, func(r *rand.Rand, _ float64) float64 { return 0.02 * size * r.NormFloat64() })
	walk := 0.0
	add("random walk", 250, 0.001*size, func(r *rand.Rand, _ float64) float64 {
		walk += 0.03*size*r.NormFloat64() - 0.002*walk
		return walk
	})
	next, high := 0.0, false
	add("loose wire, a square wave of uneven times", 250, 0.005*size, func(r *rand.Rand, at float64) float64 {
		if at >= next {
			high = !high
			next = at + 0.15 + 1.2*r.Float64()
		}
		if high {
			return 3*size + 0.003*size*r.NormFloat64()
		}
		return 0.003 * size * r.NormFloat64()
	})
	add("spikes of 1 ms at 1 kHz", 1000, 0.001*size, func(r *rand.Rand, _ float64) float64 {
		v := 0.005 * size * r.NormFloat64()
		if r.Float64() < 1.2/1000 {
			v += 3 * size
		}
		return v
	})
	drift := 0.0
	add("floating input: hum and drift", 250, 0.005*size, func(r *rand.Rand, at float64) float64 {
		drift += 0.02*size*r.NormFloat64() - 0.002*drift
		return 2*size*sine(50.03, at)*(1+0.2*sine(0.11, at)) + 0.4*size*sine(150.09, at) + drift
	})
	add("light that flickers at 100 Hz, sampled at 101.2", 101.2, 0.002*size, func(r *rand.Rand, at float64) float64 {
		return size*sine(100, at) + 0.03*size*sine(200, at) + 0.01*size*r.NormFloat64()
	})
	// Taps: each a bump of its own shape that rings off.
	var from, height, width, ring float64
	next = 0.5
	add("taps on the sensor", 250, 0.002*size, func(r *rand.Rand, at float64) float64 {
		if at >= next {
			from, height, width, ring = at, size*(0.4+2*r.Float64()), 0.04+0.25*r.Float64(), 2+8*r.Float64()
			if r.IntN(2) == 0 {
				height = -height
			}
			next = at + 0.3 + 1.1*r.Float64()
		}
		u := (at - from) / width
		return height*u*math.Exp(1-u)*math.Cos(ring*(at-from)) + 0.01*size*r.NormFloat64()
	})
	from, height, width = 0, 0, 1
	next = 0.5
	add("presses", 250, 0.002*size, func(r *rand.Rand, at float64) float64 {
		if at >= next {
			from, height, width = at, size*(0.5+1.5*r.Float64()), 0.15+0.3*r.Float64()
			next = at + 0.5 + r.Float64()
		}
		u := (at - from - width) / (0.4 * width)
		return height*math.Exp(-u*u) + 0.01*size*r.NormFloat64()
	})
	// Notes of uneven length, an accent now and then, as from a line input.
	from, next = 0, 0
	pitch := 110.0
	add("music", 1000, 0.002*size, func(r *rand.Rand, at float64) float64 {
		if at >= next {
			from, height, pitch = at, size*(0.3+0.7*r.Float64()), 55*math.Exp2(float64(r.IntN(36))/12)
			next = at + 0.125*float64(1+r.IntN(5))
		}
		u := at - from
		return height * min(1, u/0.01) * math.Exp(-3*u) * (sine(pitch, at) + 0.5*sine(2*pitch, at) + 0.2*sine(pitch*1.5, at))
	})
	c := simulate.Finger()
	if kind == ECG {
		c = simulate.Chest()
	}
	c.MotionPerMinute = 0
	c.Off = []simulate.Stretch{{FromSeconds: 0, ToSeconds: seconds + 1}}
	list = append(list, bench{"sensor off, as simulated", c.RateHz, 5.0 / 1024, fingerOf(t, c, seconds).x})
	for _, perSecond := range []float64{34.13, -34.13, 68.27} { // its steps alias into even "beats"
		add(fmt.Sprintf("a ramp of %g counts a second", perSecond), 250, 1, func(_ *rand.Rand, at float64) float64 { return perSecond * at })
	}
	return list
}

// Where there is no heart no rate is shown for longer than 3 s in 10 minutes. The gate is
// fitted with seed 0; these are others.
func TestNoRateFromABench(t *testing.T) {
	t.Parallel()
	for _, kind := range []Kind{ECG, Pulse} {
		for _, seed := range []uint64{2, 4} {
			list := benches(t, kind, seed)
			twoAtATime(len(list), func(i int) {
				b := list[i]
				w := watch(t, MonitorConfig{Kind: kind, RateHz: b.rateHz, Low: math.NaN(), High: math.NaN(), Step: b.step})
				shown, states := 0, map[State]int{}
				w.hear(b.x, func(_ float64, r Reading) {
					states[r.State]++
					if r.State == StateReading {
						shown++
					}
				})
				t.Logf("%s, %s, seed %d: a rate in %.1f s of 600, %d beats; %v", kind, b.name, seed, float64(shown)/10, len(w.beats), states)
				most := 3.0
				if b.name == "presses" && kind == ECG {
					most = 12 // a few in a row come evenly by chance, as a pulse does
				}
				if s := float64(shown) / 10; s > most {
					t.Errorf("%s, %s, seed %d: a rate in %.1f s of 600, want %g at most", kind, b.name, seed, s, most)
				}
			})
		}
	}
}

// Waves in a row that are no QRS, after or beside true ones: fibrillation of the ventricles
// after an even rhythm, and P waves of which every fourth or none has a QRS. A rate is shown
// that is right, or none, but for 5 s.
func TestNoRateFromOtherWaves(t *testing.T) {
	t.Parallel()
	const rate, seconds = 250.0, 60.0
	shape := func(int) qrs { return qrs{1e-3, 0.09, 0.25e-3, 0.18, 0.38} }
	pWaves := func(m *made, volts float64, times []float64) {
		for _, s := range times {
			addP(m, volts, s)
		}
	}
	for _, c := range []struct {
		name string
		make func() made
		bpm  func(at float64) float64 // 0: none
	}{
		{"fibrillation of 6 Hz after 75 bpm", func() made {
			m := makeECG(rate, steady(75, 0.5, 20), seconds, shape)
			for i := 20 * int(rate); i < len(m.x); i++ {
				at := float64(i) / rate
				m.x[i] += 0.5e-3*math.Sin(2*math.Pi*6*at)*(1+0.4*math.Sin(2*math.Pi*0.7*at)) + 0.15e-3*math.Sin(2*math.Pi*1.31*6*at)
			}
			return m
		}, func(at float64) float64 {
			if at < 23 {
				return 75
			}
			return 0
		}},
		{"P waves at 90, every fourth with a QRS", func() made {
			m := makeECG(rate, steady(22.5, 0.6, seconds), seconds, shape)
			pWaves(&m, 0.2e-3, steady(90, 0.44, seconds))
			return m
		}, func(float64) float64 { return 22.5 }},
		{"P waves at 90 beside a QRS at 28", func() made {
			m := makeECG(rate, steady(28, 0.6, seconds), seconds, shape)
			pWaves(&m, 0.2e-3, steady(90, 0.3, seconds))
			return m
		}, func(float64) float64 { return 28 }},
	} {
		m := c.make()
		noise(m.x, 8e-6, 9)
		w := watch(t, MonitorConfig{Kind: ECG, RateHz: rate, Low: math.NaN(), High: math.NaN()})
		wrong := 0
		w.hear(m.x, func(at float64, r Reading) {
			if r.State == StateReading && math.Abs(r.RateBPM-c.bpm(at)) > 5 {
				wrong++
			}
		})
		t.Logf("%s: wrong for %.1f s of %g", c.name, float64(wrong)/10, seconds)
		if wrong > 50 {
			t.Errorf("%s: a wrong rate for %.1f s of %g, want 5 s at most", c.name, float64(wrong)/10, seconds)
		}
	}
}

// A rhythm that becomes so fast at once that every other beat comes early is followed.
func TestMonitorFastOnset(t *testing.T) {
	t.Parallel()
	for _, fast := range []float64{200, 220, 240} {
		slow := steady(150, 0.5, 20)
		times := append(slow, walk(slow[len(slow)-1]+60/fast, 60, func(int) float64 { return 60 / fast })...)
		m := makeECG(250, times, 60, func(int) qrs { return qrs{1e-3, 0.08, 0.15e-3, 0.1, 0.2} })
		noise(m.x, 8e-6, 9)
		w := watch(t, MonitorConfig{Kind: ECG, RateHz: 250, Low: math.NaN(), High: math.NaN()})
		right, wrong := 0, 0
		w.hear(m.x, func(at float64, r Reading) {
			switch {
			case at < 30 || r.State != StateReading:
			case near(r.RateBPM, fast):
				right++
			default:
				wrong++
			}
		})
		if right < 140 || wrong > 0 {
			t.Errorf("150 to %g bpm: from 10 s after it on right for %.1f s of 30, wrong for %.1f", fast, float64(right)/10, float64(wrong)/10)
		}
	}
}
