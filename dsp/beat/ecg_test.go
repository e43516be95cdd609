package beat

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
)

// made is an invented ECG and where its R peaks are.
type made struct {
	rate float64
	x    []float64
	r    []int64
}

// qrs is a triangular QRS, as the test waveform of EC13's amplitude and width
// limits, and a T wave half a sine long, tWidth from T's onset to its end and QT
// from the QRS onset to T's end. Volts, seconds.
type qrs struct {
	volts, width, tVolts, tWidth, qt float64
}

func (q qrs) at(t float64) float64 { // t from R
	v := 0.0
	if a := math.Abs(t); a < q.width/2 {
		v += q.volts * (1 - 2*a/q.width)
	}
	if u := (t - (q.qt - q.width/2 - q.tWidth)) / q.tWidth; q.tWidth > 0 && u > 0 && u < 1 {
		v += q.tVolts * math.Sin(math.Pi*u)
	}
	return v
}

func makeECG(rate float64, times []float64, seconds float64, q func(i int) qrs) made {
	m := made{rate: rate, x: make([]float64, int(seconds*rate))}
	for i, t := range times {
		b := q(i)
		m.r = append(m.r, int64(math.Round(t*rate)))
		for k := max(int((t-0.3)*rate), 0); k < min(int((t+0.7)*rate), len(m.x)); k++ {
			m.x[k] += b.at(float64(k)/rate - t)
		}
	}
	return m
}

// steady gives beat times at a rate of beats.
func steady(bpm, from, to float64) []float64 {
	var s []float64
	for i := 0; ; i++ {
		t := from + float64(i)*60/bpm
		if t >= to {
			return s
		}
		s = append(s, t)
	}
}

func detect(t testing.TB, c ECGConfig, x []float64) []Beat {
	t.Helper()
	d, err := NewECGConfig(c)
	if err != nil {
		t.Fatal(err)
	}
	return d.Process(nil, x)
}

// expect checks that after learning exactly the beats made are found, within 10 ms;
// the last half second cannot be known yet.
func (m made) expect(t *testing.T, beats []Beat, learning float64) {
	t.Helper()
	end := int64(len(m.x)) - int64(0.5*m.rate)
	var got []int64
	for _, b := range beats {
		got = append(got, b.Sample)
	}
	ref := score.Reference{Samples: m.r, Excluded: []score.Span{{First: end, Last: math.MaxInt64}}}
	r, err := score.Match(ref, got, score.Config{RateHz: m.rate, LearningSeconds: learning})
	if err != nil {
		t.Fatal(err)
	}
	if r.TP == 0 || r.FN > 0 || r.FP > 0 || !(r.MedianAbs() <= 0.010) {
		t.Errorf("%d right, missed %v, extra %v, median location error %.1f ms (rate %g)", r.TP, r.Missed, r.Extra, 1000*r.MedianAbs(), m.rate)
	}
}

// noise adds white noise of an rms.
func noise(x []float64, rms float64, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 5))
	for i := range x {
		x[i] += rms * r.NormFloat64()
	}
}

var testRates = []float64{100, 125, 250, 360, 500, 720, 1000}

// EC13's limits, from memory: QRS of 0.5 to 5 mV and 70 to 120 ms, 30 to 200 bpm.
func TestECGAmplitudeAndWidth(t *testing.T) {
	t.Parallel()
	for _, rate := range append(slices.Clone(testRates), 4000) {
		for _, volts := range []float64{0.5e-3, 1e-3, 5e-3, -1e-3} {
			for _, width := range []float64{0.070, 0.100, 0.120} {
				for _, bpm := range []float64{30, 80, 200} {
					if rate == 4000 && (bpm != 80 || volts != 1e-3) {
						continue
					}
					t.Run(fmt.Sprintf("%g Hz %g mV %g ms %g bpm", rate, volts*1e3, width*1e3, bpm), func(t *testing.T) {
						m := makeECG(rate, steady(bpm, 0.7, 40), 40, func(int) qrs { return qrs{volts, width, 0, 0, 0} })
						noise(m.x, 5e-6, 1) // an amplifier's own noise
						m.expect(t, detect(t, ECGConfig{RateHz: rate}, m.x), 0)
					})
				}
			}
		}
	}
}

// EC13, from memory: no response to 10 ms and less at 1 mV. Its other limit, no response to
// 0.15 mV, is no detector's: there is no least height, only a least distance from the noise.
func TestECGNoResponse(t *testing.T) {
	for _, rate := range []float64{250, 360, 500, 1000} {
		for _, q := range []qrs{{1e-3, 0.010, 0, 0, 0}, {1e-3, 0.006, 0, 0, 0}} {
			m := makeECG(rate, steady(80, 0.7, 40), 40, func(int) qrs { return q })
			noise(m.x, 1e-6, 2)
			if b := detect(t, ECGConfig{RateHz: rate}, m.x); len(b) > 0 {
				t.Errorf("%g Hz, %g mV %g ms: %d beats", rate, q.volts*1e3, q.width*1e3, len(b))
			}
		}
	}
}

// EC13, from memory: 100 µV peak to peak at line frequency on a QRS of 0.5 mV at
// 80 bpm; 4 mV peak to peak, 0.1 Hz triangle.
func TestECGHumAndDrift(t *testing.T) {
	for _, rate := range testRates {
		for _, hum := range []float64{0, 50, 60} {
			for _, drift := range []float64{0, 4e-3} {
				m := makeECG(rate, steady(80, 0.7, 60), 60, func(int) qrs { return qrs{0.5e-3, 0.08, 0.1e-3, 0.18, 0.35} })
				for i := range m.x {
					s := float64(i) / rate
					m.x[i] += 50e-6*math.Sin(2*math.Pi*hum*s) + drift/2*triangle(0.1*s)
				}
				noise(m.x, 3e-6, 3)
				m.expect(t, detect(t, ECGConfig{RateHz: rate}, m.x), 5)
			}
		}
	}
}

// triangle between −1 and 1 with period 1.
func triangle(x float64) float64 {
	x -= math.Floor(x)
	return 1 - 4*math.Abs(x-0.5)
}

// EC13: a T wave of 1.2 mV, 180 ms wide, QT 350 ms, beside a QRS of 1 mV and 100 ms
// is not counted.
func TestECGTallT(t *testing.T) {
	t.Parallel()
	for _, rate := range testRates {
		for _, sign := range []float64{1, -1} {
			for _, bpm := range []float64{60, 80} {
				m := makeECG(rate, steady(bpm, 0.7, 60), 60, func(int) qrs { return qrs{sign * 1e-3, 0.1, 1.2e-3, 0.18, 0.35} })
				noise(m.x, 5e-6, 4)
				m.expect(t, detect(t, ECGConfig{RateHz: rate}, m.x), 5)
			}
		}
	}
}

// EC13's steps of rate, an amplitude jump of 20 both ways, a start in the middle of
// a beat, wide extrasystoles.
func TestECGChanges(t *testing.T) {
	t.Parallel()
	normal := func(int) qrs { return qrs{1e-3, 0.08, 0.25e-3, 0.18, 0.38} }
	for _, rate := range testRates {
		for _, to := range []float64{120, 40} {
			m := makeECG(rate, append(steady(80, 0.7, 30), steady(to, 30+60/to, 60)...), 60, normal)
			noise(m.x, 10e-6, 5)
			t.Run(fmt.Sprintf("step to %g at %g Hz", to, rate), func(t *testing.T) {
				m.expect(t, detect(t, ECGConfig{RateHz: rate}, m.x), 0)
			})
		}
		t.Run(fmt.Sprintf("start in a beat at %g Hz", rate), func(t *testing.T) {
			m := makeECG(rate, steady(75, 0.005, 30), 30, normal)
			noise(m.x, 10e-6, 6)
			m.expect(t, detect(t, ECGConfig{RateHz: rate}, m.x), 1)
		})
		t.Run(fmt.Sprintf("bigeminy at %g Hz", rate), func(t *testing.T) {
			var times []float64
			for s := 0.7; s < 59; s += 1.6 {
				times = append(times, s, s+0.5)
			}
			m := makeECG(rate, times, 60, func(i int) qrs {
				if i%2 == 1 {
					return qrs{-1.5e-3, 0.16, 0.5e-3, 0.24, 0.5}
				}
				return normal(i)
			})
			noise(m.x, 10e-6, 7)
			m.expect(t, detect(t, ECGConfig{RateHz: rate}, m.x), 5)
		})
		for _, jump := range []float64{20, 0.05} {
			t.Run(fmt.Sprintf("amplitude times %g at %g Hz", jump, rate), func(t *testing.T) {
				m := makeECG(rate, steady(75, 0.7, 60), 60, normal)
				noise(m.x, 2e-6, 8)
				for i := int(30.3 * rate); i < len(m.x); i++ {
					m.x[i] *= jump
				}
				beats := detect(t, ECGConfig{RateHz: rate}, m.x)
				// Up: none missed, none extra. Down: caught again within 10 s.
				ref := score.Reference{Samples: m.r, Excluded: []score.Span{{First: int64(59.5 * rate), Last: math.MaxInt64}}}
				if jump < 1 {
					ref.Excluded = append(ref.Excluded, score.Span{First: int64(30 * rate), Last: int64(40 * rate)})
				}
				var got []int64
				for _, b := range beats {
					got = append(got, b.Sample)
				}
				r, _ := score.Match(ref, got, score.Config{RateHz: rate})
				if r.FN > 0 || r.FP > 0 {
					t.Errorf("missed %v, extra %v", r.Missed, r.Extra)
				}
			})
		}
	}
}

// Rhythms and shapes of the clinic, drawn from their textbook measures (from memory):
// every beat is found and none besides, at every rate.
func TestECGRhythms(t *testing.T) {
	t.Parallel()
	const seconds = 90
	normal := qrs{1e-3, 0.08, 0.25e-3, 0.18, 0.38}
	always := func(q qrs) func(int) qrs { return func(int) qrs { return q } }
	for name, c := range map[string]struct {
		times func(r *rand.Rand) []float64
		shape func(i int) qrs
		more  func(m *made, r *rand.Rand)
		most  int // missed and extra together
	}{
		"atrial fibrillation": {times: func(r *rand.Rand) []float64 {
			return walk(0.7, seconds, func(int) float64 { return 0.38 + 0.7*r.Float64()*r.Float64() })
		}, more: func(m *made, r *rand.Rand) { // f waves of 6 Hz
			for i := range m.x {
				m.x[i] += 0.06e-3 * math.Sin(2*math.Pi*6*float64(i)/m.rate)
			}
		}},
		"bundle branch block, T late": {shape: always(qrs{1.2e-3, 0.16, -0.5e-3, 0.22, 0.50})},
		"tachycardia of 180, wide":    {times: every(180), shape: always(qrs{1.5e-3, 0.14, 0, 0, 0})},
		"tall T at 130":               {times: every(130), shape: always(qrs{0.8e-3, 0.06, 1e-3, 0.16, 0.30})},
		"tall T in pairs": {times: func(r *rand.Rand) []float64 {
			return walk(0.7, seconds, func(i int) float64 { return 0.44 + 0.18*float64(i%2) })
		}, shape: always(qrs{0.8e-3, 0.06, 1e-3, 0.16, 0.30})},
		"paced": {shape: always(qrs{1.3e-3, 0.17, -0.4e-3, 0.24, 0.48}), more: func(m *made, r *rand.Rand) {
			for _, s := range m.r { // 2 ms, 3 mV, before each beat
				for k := range max(1, int64(0.002*m.rate)) {
					if i := s - int64(0.1*m.rate) + k; i >= 0 {
						m.x[i] += 3e-3
					}
				}
			}
		}},
		"extrasystoles of two kinds": {times: func(r *rand.Rand) []float64 {
			return walk(0.7, seconds, func(i int) float64 { return [...]float64{0.8, 0.8, 0.8, 0.5, 1.1, 0.8, 0.42, 1.2}[i%8] })
		}, shape: func(i int) qrs {
			switch i % 8 {
			case 4:
				return qrs{-1.8e-3, 0.15, 0.6e-3, 0.24, 0.45}
			case 7:
				return qrs{1.4e-3, 0.13, -0.4e-3, 0.22, 0.42}
			}
			return normal
		}, most: 2}, // the first of each kind may be strange
		"runs of ventricular tachycardia": {times: func(r *rand.Rand) []float64 {
			return walk(0.7, seconds, func(i int) float64 {
				if i%20 >= 12 {
					return 0.36
				}
				return 0.85
			})
		}, shape: func(i int) qrs {
			if i%20 > 12 {
				return qrs{1.6e-3, 0.15, -0.3e-3, 0.12, 0.30}
			}
			return normal
		}, most: 1},
		"a blocked P wave in every fourth": {times: func(r *rand.Rand) []float64 {
			return walk(0.7, seconds, func(i int) float64 {
				if i%3 == 2 {
					return 1.6
				}
				return 0.8
			})
		}, more: pWaves(0.8), most: 1}, // once, before the P waves are known
		"sinus arrest of 2.8 s": {times: func(r *rand.Rand) []float64 {
			return walk(0.7, seconds, func(i int) float64 {
				if i%12 == 11 {
					return 2.8
				}
				return 0.85
			})
		}},
		"voltage a third of it for 20 s": {more: func(m *made, r *rand.Rand) {
			for i := int(40.4 * m.rate); i < int(60.4*m.rate); i++ {
				m.x[i] *= 0.33
			}
		}, most: 1},
		"voltage going up and down with breath": {more: func(m *made, r *rand.Rand) {
			for i := range m.x {
				m.x[i] *= 1 + 0.6*math.Sin(2*math.Pi*0.25*float64(i)/m.rate)
			}
		}},
		"alternating voltage": {shape: func(i int) qrs {
			q := normal
			q.volts *= 1 - 0.6*float64(i%2)
			return q
		}},
		"baseline steps": {more: func(m *made, r *rand.Rand) { // 2 mV, back over seconds, between beats
			for k := 5; k+4 < len(m.r); k += 7 {
				from := m.r[k] + int64(0.45*m.rate)
				for i := from; i < int64(len(m.x)); i++ {
					m.x[i] += 2e-3 * math.Exp(-float64(i-from)/m.rate/0.5)
				}
			}
		}, most: 1},
	} {
		t.Run(name, func(t *testing.T) {
			for _, rate := range testRates {
				r := rand.New(rand.NewPCG(3, 17))
				times := steady(72, 0.7, seconds)
				if c.times != nil {
					times = c.times(r)
				}
				shape := c.shape
				if shape == nil {
					shape = always(normal)
				}
				m := makeECG(rate, times, seconds, shape)
				if c.more != nil {
					c.more(&m, r)
				}
				noise(m.x, 10e-6, 21)
				end := int64((seconds - 0.5) * rate)
				ref := score.Reference{Samples: m.r, Excluded: []score.Span{{First: end, Last: math.MaxInt64}}}
				var got []int64
				for _, b := range detect(t, ECGConfig{RateHz: rate}, m.x) {
					got = append(got, b.Sample)
				}
				res, err := score.Match(ref, got, score.Config{RateHz: rate})
				if err != nil {
					t.Fatal(err)
				}
				if res.TP < 50 || res.FN+res.FP > c.most {
					t.Errorf("%g Hz: %d right, missed %v, extra %v", rate, res.TP, res.Missed, res.Extra)
				}
			}
		})
	}
}

// walk gives beat times by their intervals.
func walk(from, to float64, interval func(i int) float64) []float64 {
	var s []float64
	for i := 0; from < to; i++ {
		s = append(s, from)
		from += interval(i)
	}
	return s
}

func every(bpm float64) func(*rand.Rand) []float64 {
	return func(*rand.Rand) []float64 { return steady(bpm, 0.7, 90) }
}

// pWaves adds P waves of 0.15 mV and 100 ms, 160 ms before R and on in the pauses.
func pWaves(period float64) func(m *made, r *rand.Rand) {
	return func(m *made, r *rand.Rand) {
		for s := 0.7 - 0.16; s < float64(len(m.x))/m.rate; s += period {
			addP(m, 0.15e-3, s)
		}
	}
}

// addP adds a P wave of 100 ms at s seconds.
func addP(m *made, volts, s float64) {
	for k := max(0, int((s-0.05)*m.rate)); k < min(int((s+0.05)*m.rate), len(m.x)); k++ {
		m.x[k] += volts * math.Cos(math.Pi*(float64(k)/m.rate-s)/0.1)
	}
}

// The same signal in another unit, turned over or lifted gives the same beats.
func TestECGScaleAndPolarity(t *testing.T) {
	m := makeECG(360, steady(70, 0.7, 60), 60, func(int) qrs { return qrs{1e-3, 0.09, 0.25e-3, 0.18, 0.38} })
	noise(m.x, 10e-6, 9)
	want := detect(t, ECGConfig{RateHz: 360}, m.x)
	for _, s := range []struct{ gain, offset float64 }{{1 << 20, 0}, {-1, 0}, {1, 2.5}, {1e-6, 1e-3}, {200000, 1024}} {
		y := make([]float64, len(m.x))
		for i, v := range m.x {
			y[i] = s.gain*v + s.offset
		}
		got := detect(t, ECGConfig{RateHz: 360}, y)
		if len(got) != len(want) {
			t.Errorf("gain %g offset %g: %d beats, want %d", s.gain, s.offset, len(got), len(want))
			continue
		}
		for i := range got {
			if d := got[i].Sample - want[i].Sample; d < -1 || d > 1 {
				t.Errorf("gain %g offset %g: beat %d at %d, want %d", s.gain, s.offset, i, got[i].Sample, want[i].Sample)
			}
			if a := got[i].Amplitude / s.gain; math.Abs(a-want[i].Amplitude) > 1e-5 {
				t.Errorf("gain %g offset %g: amplitude %g, want %g", s.gain, s.offset, a, want[i].Amplitude)
			}
		}
	}
}

// Where there is no heart there is no beat.
func TestECGSilence(t *testing.T) {
	t.Parallel()
	const seconds = 120
	for _, rate := range []float64{125, 250, 360, 1000} {
		n := int(seconds * rate)
		signals := map[string]func(i int, r *rand.Rand) float64{
			"constant":         func(i int, r *rand.Rand) float64 { return 2.5 },
			"zero":             func(i int, r *rand.Rand) float64 { return 0 },
			"converter's step": func(i int, r *rand.Rand) float64 { return float64(r.IntN(2)) },
			"white noise":      func(i int, r *rand.Rand) float64 { return r.NormFloat64() },
			"hum": func(i int, r *rand.Rand) float64 {
				return math.Sin(2*math.Pi*50*float64(i)/rate) + 0.01*r.NormFloat64()
			},
			"10 Hz": func(i int, r *rand.Rand) float64 {
				return math.Sin(2*math.Pi*10*float64(i)/rate) + 0.01*r.NormFloat64()
			},
			"1 Hz": func(i int, r *rand.Rand) float64 { return math.Sin(2*math.Pi*1*float64(i)/rate) + 0.01*r.NormFloat64() },
			"stuck, rarely the other rail": func() func(i int, r *rand.Rand) float64 {
				v := 0.0
				return func(i int, r *rand.Rand) float64 {
					if r.Float64() < 0.5/rate {
						v = 5 - v
					}
					return v
				}
			}(),
			"hum that clips": func(i int, r *rand.Rand) float64 {
				return min(max(2.5+5*math.Sin(2*math.Pi*50*float64(i)/rate)+2*math.Sin(2*math.Pi*0.3*float64(i)/rate), 0), 5)
			},
		}
		walk := 0.0
		signals["random walk"] = func(i int, r *rand.Rand) float64 { walk += r.NormFloat64(); return walk }
		for name, f := range signals {
			for seed := range uint64(3) {
				r := rand.New(rand.NewPCG(seed, 11))
				x := make([]float64, n)
				for i := range x {
					x[i] = f(i, r)
				}
				if b := detect(t, ECGConfig{RateHz: rate}, x); len(b) > 0 {
					t.Errorf("%s at %g Hz, seed %d: %d beats in %d s", name, rate, seed, len(b), seconds)
				}
			}
		}
	}
}

// After a good ECG the lead comes off.
func TestECGLeadOff(t *testing.T) {
	for name, f := range map[string]func(s float64, r *rand.Rand) float64{
		"flat":  func(s float64, r *rand.Rand) float64 { return 5e-3 },
		"noise": func(s float64, r *rand.Rand) float64 { return 5e-3 + 10e-6*r.NormFloat64() },
		"hum":   func(s float64, r *rand.Rand) float64 { return 5e-3 * math.Sin(2*math.Pi*50*s) },
		"clips": func(s float64, r *rand.Rand) float64 {
			return min(max(20e-3*math.Sin(2*math.Pi*50*s)+3e-3*math.Sin(2*math.Pi*0.4*s), -5e-3), 5e-3)
		},
	} {
		m := makeECG(360, steady(70, 0.7, 30), 90, func(int) qrs { return qrs{1e-3, 0.09, 0.25e-3, 0.18, 0.38} })
		r := rand.New(rand.NewPCG(1, 12))
		noise(m.x, 10e-6, 12)
		off := 30 * 360
		for i := off; i < len(m.x); i++ {
			m.x[i] = f(float64(i)/360, r)
		}
		late := 0
		for _, b := range detect(t, ECGConfig{RateHz: 360}, m.x) {
			if b.Sample > int64(off)+90 {
				late++
			}
		}
		if late > 0 {
			t.Errorf("%s: %d beats after the lead came off", name, late)
		}
	}
}

func TestECGPieces(t *testing.T) {
	m := makeECG(500, steady(80, 0.7, 60), 60, func(i int) qrs { return qrs{float64(1+i%3) * 1e-3, 0.09, 0.25e-3, 0.18, 0.38} })
	noise(m.x, 50e-6, 13)
	want := detect(t, ECGConfig{RateHz: 500}, m.x)
	if len(want) < 70 {
		t.Fatalf("%d beats", len(want))
	}
	for _, size := range []int{1, 3, 64, 255, 256, 257, 1000} {
		d, _ := NewECG(500)
		d.Process(nil, m.x[:3000])
		d.Reset()
		var got []Beat
		for i := 0; i < len(m.x); i += size {
			got = d.Process(got, m.x[i:min(i+size, len(m.x))])
		}
		if !slices.Equal(got, want) {
			t.Errorf("pieces of %d differ from the whole", size)
		}
	}
}

func TestECGAllocation(t *testing.T) {
	m := makeECG(360, steady(80, 0.7, 60), 60, func(int) qrs { return qrs{1e-3, 0.09, 0.25e-3, 0.18, 0.38} })
	noise(m.x, 20e-6, 14)
	d, _ := NewECG(360)
	dst := make([]Beat, 0, 256)
	if a := testing.AllocsPerRun(10, func() { dst = d.Process(dst[:0], m.x) }); a != 0 {
		t.Errorf("Process allocates %g times", a)
	}
	if len(dst) == 0 {
		t.Error("no beats")
	}
}

// The declared latency holds, and where there is no noise most beats come within 0.4 s, on
// synthetic beats of every width.
func TestECGLatency(t *testing.T) {
	for _, rate := range append(slices.Clone(testRates), 44100) {
		seconds := 30.0
		if rate > 2000 {
			seconds = 8
		}
		m := makeECG(rate, steady(80, 0.7, seconds), seconds, func(i int) qrs { return qrs{1e-3, 0.06 + 0.01*float64(i%8), 0.25e-3, 0.18, 0.38} })
		noise(m.x, 10e-6, 15)
		d, _ := NewECG(rate)
		declared := float64(d.LatencySamples()) / rate
		if declared > 1.1 {
			t.Errorf("%g Hz: latency %.3f s", rate, declared)
		}
		var late []float64
		start := false
		d.Explain(func(c Candidate) { start = c.Taken && c.Reason != reasonTaken })
		for i := range m.x {
			for _, b := range d.Process(nil, m.x[i:i+1]) {
				if !start {
					late = append(late, float64(int64(i)-b.Sample)/rate)
				}
			}
		}
		if len(late) == 0 || slices.Max(late) > declared {
			t.Errorf("%g Hz: beats came %v s after R, declared %.3f s", rate, late, declared)
			continue
		}
		slices.Sort(late)
		middle := late[len(late)/2]
		t.Logf("%g Hz: declared %.3f s, measured %.3f s at most, %.3f s in the middle", rate, declared, slices.Max(late), middle)
		if middle > 0.4 {
			t.Errorf("%g Hz: beats came %.3f s after R in the middle, want 0.4 s at most", rate, middle)
		}
	}
}

func TestECGBadConfig(t *testing.T) {
	for _, c := range []ECGConfig{{RateHz: 99}, {RateHz: 0}, {RateHz: math.NaN()}, {RateHz: 1e6}} {
		if _, err := NewECGConfig(c); err == nil {
			t.Errorf("%+v: no error", c)
		}
	}
}

// ANSI/AAMI EC13 waveform 3a, ventricular bigeminy, counts as 80 QRS a minute
// (PhysioNet's copy, 720 Hz).
func TestECGBigeminyWaveform(t *testing.T) {
	data := openData(t, "aami-ec13")
	f, err := data.Open("aami3a.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var b bytes.Buffer
	if _, err := b.ReadFrom(f); err != nil {
		t.Fatal(err)
	}
	var x []float64
	for _, line := range bytes.Split(b.Bytes(), []byte("\n")) {
		if v, err := strconv.Atoi(string(bytes.TrimSpace(line))); err == nil {
			x = append(x, (float64(v)-2048)/130*1e-3)
		}
	}
	beats := detect(t, ECGConfig{RateHz: 720}, x)
	if len(beats) < 3 {
		t.Fatalf("%d beats in %d s", len(beats), len(x)/720)
	}
	// Over whole pairs, since the two intervals differ.
	k := (len(beats) - 1) &^ 1
	bpm := 60 * 720 * float64(k) / float64(beats[k].Sample-beats[0].Sample)
	if math.Abs(bpm-80) > 1 {
		t.Errorf("%.1f QRS a minute, want 80", bpm)
	}
	// Every one from the second second to the last half second.
	if want := float64(len(x))/720*80/60 - 3; float64(len(beats)) < want {
		t.Errorf("%d beats in %d s", len(beats), len(x)/720)
	}
}

func BenchmarkECG(b *testing.B) {
	root := os.Getenv("PULSEWRIGHT_DATA")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared", "data")
	}
	x, _, err := mitdata.Signal(os.DirFS(filepath.Join(root, "mitdb")), "203")
	if err != nil {
		b.Skip(err)
	}
	d, _ := NewECG(360)
	dst := make([]Beat, 0, 8192)
	b.ReportAllocs()
	for b.Loop() {
		d.Reset()
		dst = d.Process(dst[:0], x)
	}
	b.ReportMetric(float64(len(x))/360*float64(b.N)/b.Elapsed().Seconds(), "×realtime")
}
