package grid

import (
	"math"
	"math/rand/v2"
	"testing"

	"pulsewright/acquire"
)

// pulse is the two-Gaussian pulse of Tang et al. 2020 at 72 bpm, and ecg a heartbeat whose
// Q, R and S are 80 ms wide together; both 10000 counts high.
func pulse(t float64) float64 {
	p := 2*math.Pi*math.Mod(t*1.2, 1) - math.Pi
	g := func(a, m, w float64) float64 {
		d := math.Remainder(p-m, 2*math.Pi)
		return a * math.Exp(-d*d/(2*w*w))
	}
	return 10000 * (g(1, -1.5161, 0.6303) + g(0.1999, 0.8186, 1.0225))
}

func ecg(t float64) float64 {
	p := math.Mod(t*1.2, 1) / 1.2
	g := func(a, m, w float64) float64 { return a * math.Exp(-(p-m)*(p-m)/(2*w*w)) }
	return 10000 * (g(-0.12, 0.36, 0.012) + g(1, 0.39, 0.012) + g(-0.25, 0.42, 0.012) + g(0.25, 0.62, 0.06))
}

// uneven are the times of a loop whose steps vary by ± share about 1/hz.
func uneven(rng *rand.Rand, hz, share, seconds float64) []float64 {
	var times []float64
	for t := 0.0; t < seconds; t += (1 + share*(2*rng.Float64()-1)) / hz {
		times = append(times, t)
	}
	return times
}

func run(g *Grid, times []float64, wave func(float64) float64, each func(Point)) {
	for _, t := range times {
		g.Add(t, []int32{int32(math.Round(wave(t)))}, false, false)
		for _, p := range g.Points() {
			each(p)
		}
		g.Drop()
	}
}

// TestError holds what the package comment says interpolation costs.
func TestError(t *testing.T) {
	for _, c := range []struct {
		name  string
		hz    float64
		wave  func(float64) float64
		most  float64 // of 10000 counts
		above float64 // and the test would see less
	}{
		{"pulse at 250 Hz", 250, pulse, 6, 1}, {"ECG at 250 Hz", 250, ecg, 200, 50}, {"pulse at 100 Hz", 100, pulse, 30, 2},
	} {
		worst := 0.0
		g := New(c.hz, 0, 1)
		run(g, uneven(rand.New(rand.NewPCG(1, 2)), c.hz, 0.3, 60), c.wave, func(p Point) {
			worst = max(worst, math.Abs(float64(p.Counts[0])-c.wave(p.Seconds)))
		})
		made, taken := g.Made()
		t.Logf("%s: worst %.1f of 10000, %d interpolated, %d taken", c.name, worst, made, taken)
		if worst > c.most || worst < c.above || made < taken {
			t.Errorf("%s: worst %.1f of 10000, want at most %g; %d interpolated, %d taken", c.name, worst, c.most, made, taken)
		}
	}
}

// TestEvenPasses: even samples pass unchanged, whatever cuts their stamps.
func TestEvenPasses(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, c := range []struct{ hz, resolution, jitter float64 }{
		{250, 1e-6, 0}, {250, 1e-3, 0}, {400, 1e-3, 0}, {1000, 1e-3, 0}, {250, 1e-6, 20e-6}, {100, 0, 0}, {2000, 1e-3, 0}, {1, 1e-3, 0},
	} {
		g := New(c.hz, c.resolution, 1)
		n, wrong := 0, 0
		for i := range 4000 {
			at := 1000 + float64(i)/c.hz + c.jitter*rng.Float64()
			if c.resolution > 0 {
				at = math.Floor(at/c.resolution+1e-6) * c.resolution
			}
			g.Add(at, []int32{int32(i * 7 % 1000)}, false, false)
			for _, p := range g.Points() {
				if p.Counts[0] != int32(n*7%1000) || p.Lost != 0 {
					wrong++
				}
				n++
			}
			g.Drop()
		}
		if wrong > 0 || n < 3998 {
			t.Errorf("%+v: %d of %d points are not the samples", c, wrong, n)
		}
	}
}

// TestPauses: a display drawn for 80 ms each second is a gap of as many points, and the
// points after stand at their times.
func TestPauses(t *testing.T) {
	g, n, lost, pauses := New(200, 1e-6, 1), int64(0), int64(0), 0
	var times []float64
	for s := range 10 {
		for i := range 184 {
			times = append(times, float64(s)+0.0013+float64(i)*0.005)
		}
	}
	run(g, times, func(t float64) float64 { return t * 1000 }, func(p Point) {
		if p.Lost > 0 {
			pauses++
			lost += p.Lost
		}
		n += p.Lost
		if want := 0.0013 + float64(n)/200; math.Abs(p.Seconds-want) > 1e-9 || math.Abs(float64(p.Counts[0])-1000*want) > 1 {
			t.Fatalf("point %d at %g with %d, want %g", n, p.Seconds, p.Counts[0], want)
		}
		n++
	})
	if n, long, every := g.Pauses(); n != 9 || math.Abs(long-0.085) > 1e-6 || math.Abs(every-1.1) > 0.03 {
		t.Errorf("%d pauses of %g s every %g s told", n, long, every)
	}
	if pauses != 9 || lost != 9*16 {
		t.Errorf("%d pauses of %d points in all, want 9 of 144", pauses, lost)
	}
}

// TestLoopSlows: the grid stays, nothing is lost; a rate beyond it is told.
func TestLoopSlows(t *testing.T) {
	var times []float64
	at := 0.0
	for i := range 4000 {
		times = append(times, at)
		if at += 1 / 461.0; i >= 2000 {
			at += 1/193.0 - 1/461.0
		}
	}
	g, n, lost := New(461, 1e-6, 1), 0, int64(0)
	run(g, times, pulse, func(p Point) {
		n++
		lost += p.Lost
		if off := math.Abs(float64(p.Counts[0]) - pulse(p.Seconds)); off > 10 {
			t.Fatalf("point at %g is off by %g of 10000", p.Seconds, off)
		}
	})
	if want := int(at * 461); lost != 0 || n < want-6 || n > want+1 || g.Changed() {
		t.Errorf("%d points and %d lost of %d, changed %t", n, lost, want, g.Changed())
	}
	for range 200 {
		at += 1 / 1000.0
		g.Add(at, []int32{0}, false, false)
		g.Drop()
	}
	if !g.Changed() {
		t.Error("twice the rate was not seen")
	}
}

func TestMissingAndJump(t *testing.T) {
	g := New(100, 0, 1)
	var got []Point
	add := func(at float64, n int32, jump bool) {
		g.Add(at, []int32{n}, false, jump)
		for _, p := range g.Points() {
			p.Counts = append([]int32(nil), p.Counts...)
			got = append(got, p)
		}
		g.Drop()
	}
	for i, n := range []int32{1, 2, acquire.MissingCount, 4, 5, 6} {
		add(float64(i)*0.01, n, false)
	}
	add(0.0533, 70, true) // anew
	add(0.0633, 71, false)
	if len(got) != 8 || got[2].Counts[0] != acquire.MissingCount || !got[6].Jump || got[6].Counts[0] != 70 || got[7].Counts[0] != 71 || got[6].Lost != 0 {
		t.Errorf("points %+v", got)
	}
}

func TestRate(t *testing.T) {
	times := func(n int, step func(i int) float64) []float64 {
		list, at := []float64{5}, 5.0
		for i := range n {
			at += step(i)
			list = append(list, at)
		}
		return list
	}
	for _, c := range []struct {
		name       string
		times      []float64
		resolution float64
		claimed    float64
		want       float64
		ok         bool
	}{
		{"even", times(100, func(int) float64 { return 0.004 }), 1e-6, 0, 250, true},
		{"claimed", times(100, func(int) float64 { return 0.00402 }), 1e-6, 250, 250, true},
		{"loop", times(100, func(int) float64 { return 0.00413 }), 1e-6, 0, 1 / 0.00413, true},
		{"period of 3.2 ms", times(100, func(int) float64 { return 0.0032 }), 1e-6, 0, 312.5, true},
		{"whole milliseconds at 400 Hz", times(101, func(i int) float64 { return 0.002 + 0.001*float64(i%2) }), 1e-3, 0, 400, true},
		{"display", times(300, func(i int) float64 { return map[bool]float64{true: 0.08, false: 0.005}[i%184 == 100] }), 1e-6, 0, 200, true},
		{"eight share a stamp", times(200, func(i int) float64 { return map[bool]float64{true: 0.08, false: 0}[i%8 == 7] }), 1e-6, 0, 0, false},
		{"two", []float64{1, 2}, 0, 0, 0, false}, {"still", []float64{1, 1, 1, 1}, 0, 0, 0, false},
	} {
		hz, ok := Rate(c.times, c.resolution, c.claimed)
		if ok != c.ok || math.Abs(hz-c.want) > 1e-3*c.want {
			t.Errorf("%s: %g Hz, %t; want %g, %t", c.name, hz, ok, c.want, c.ok)
		}
	}
}

// FuzzGrid: whatever the stamps, the points stand on the grid in order, and no sample makes
// more than the longest step not called a pause holds.
func FuzzGrid(f *testing.F) {
	f.Add([]byte{4, 4, 4, 4, 80, 4, 4, 0, 0, 9}, uint8(1))
	f.Add([]byte{255, 255, 255, 1, 1, 1}, uint8(0))
	f.Fuzz(func(t *testing.T, steps []byte, resolution uint8) {
		g := New(250, float64(resolution%3)*1e-3, 2)
		at, n, base := 0.0, int64(-1), math.NaN()
		for i, s := range steps {
			at += float64(s) / 1000
			g.Add(at, []int32{int32(i), int32(-i)}, s == 77, s == 78)
			if len(g.Points()) > 250 {
				t.Fatalf("a step of %d ms makes %d points", s, len(g.Points()))
			}
			for _, p := range g.Points() {
				n += 1 + p.Lost
				if p.Jump || math.IsNaN(base) {
					base = p.Seconds - float64(n)/250
				}
				if p.Lost < 0 || math.Abs(p.Seconds-base-float64(n)/250) > 1e-6 {
					t.Fatalf("point %d at %g", n, p.Seconds)
				}
			}
			g.Drop()
		}
	})
}
