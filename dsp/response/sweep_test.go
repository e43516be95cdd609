package response

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"pulsewright/dsp/filter"
)

// rc puts x through one resistor and one capacitor, the circuit solved exactly for
// a voltage that goes straight from sample to sample; high: the voltage at the
// resistor instead of the capacitor.
func rc(x []float64, rateHz, cornerHz float64, high bool) []float64 {
	a := 2 * math.Pi * cornerHz / rateHz
	decay, gain := math.Exp(-a), -math.Expm1(-a)/a
	y := make([]float64, len(x))
	r, last := 0.0, 0.0
	for i, v := range x {
		r = r*decay + (v-last)*gain
		last = v
		y[i] = r
		if !high {
			y[i] = v - r
		}
	}
	return y
}

// notch is a 50 Hz notch, 10 Hz wide; its analogue prototype is (s² + ω²)/(s² + Bs + ω²).
func notch(t *testing.T, x []float64, rateHz float64) []float64 {
	t.Helper()
	s, err := filter.Notch(rateHz, 50, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	c, err := filter.NewCascade(s, rateHz)
	if err != nil {
		t.Fatal(err)
	}
	c.Start(0)
	y := make([]float64, len(x))
	c.Process(y, x)
	return y
}

// card is a sound card: it delays, couples, adds noise and an offset, and rounds to 16 bits.
func card(x []float64, s Sweep, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	played := make([]float64, s.Total())
	for i, v := range x {
		if i+311 < len(played) {
			played[i+311] = 0.3 * v
		}
	}
	y := rc(rc(played, s.RateHz, 2, true), s.RateHz, 0.7, true)
	for i := range y {
		y[i] = math.Round(32768*(y[i]+0.002+1e-4*rng.NormFloat64())) / 32768
	}
	return y
}

// boards have a closed form.
func boards(t *testing.T, rateHz float64) map[string]struct {
	put  func(x []float64) []float64
	want func(f float64) complex128
} {
	return map[string]struct {
		put  func(x []float64) []float64
		want func(f float64) complex128
	}{
		"RC low-pass 16 Hz":  {func(x []float64) []float64 { return rc(x, rateHz, 16, false) }, func(f float64) complex128 { return 1 / complex(1, f/16) }},
		"RC high-pass 30 Hz": {func(x []float64) []float64 { return rc(x, rateHz, 30, true) }, func(f float64) complex128 { return complex(0, f/30) / complex(1, f/30) }},
		"notch 50 Hz": {func(x []float64) []float64 { return notch(t, x, rateHz) }, func(f float64) complex128 {
			n := complex(50*50-f*f, 0)
			return n / (n + complex(0, 10*f))
		}},
	}
}

// worst is the largest error of gain and phase from lowHz to 1 kHz where the board
// passes at least −40 dB.
func worst(r Response, want func(f float64) complex128, lowHz float64) (dB, degrees float64, points int) {
	for i, f := range r.FreqHz {
		h := want(f)
		if f < lowHz || f > 1000 || cmplx.Abs(h) < 0.01 {
			continue
		}
		points++
		dB = math.Max(dB, math.Abs(r.GainDB[i]-20*math.Log10(cmplx.Abs(h))))
		d := math.Mod(r.PhaseDegrees[i]-cmplx.Phase(h)*180/math.Pi, 360)
		degrees = math.Max(degrees, math.Min(math.Abs(d), 360-math.Abs(d)))
	}
	return dB, degrees, points
}

func TestMeasureKnownCircuits(t *testing.T) {
	s := Sweep{RateHz: 48000, Seconds: 20}
	x := s.Samples()
	loop := card(x, s, 1)
	for name, b := range boards(t, s.RateHz) {
		padded := make([]float64, s.Total())
		copy(padded, x)
		r, err := Measure(s, loop, card(b.put(padded), s, 2))
		if err != nil {
			t.Fatal(err)
		}
		dB, degrees, points := worst(r, b.want, 5)
		dBLow, degreesLow, _ := worst(r, b.want, 0.5)
		t.Logf("%s: within %.3f dB and %.2f° from 5 Hz to 1 kHz (%d points), %.3f dB and %.2f° from 0.5 Hz; corners %v", name, dB, degrees, points, dBLow, degreesLow, r.Corners)
		if dB > 0.2 || degrees > 2 || points < 100 {
			t.Errorf("%s: off by %.3f dB and %.2f° at %d points", name, dB, degrees, points)
		}
	}
}

func TestCorners(t *testing.T) {
	s := Sweep{RateHz: 44100, Seconds: 20}
	x := s.Samples()
	loop := card(x, s, 1)
	for name, want := range map[string][]Corner{"RC low-pass 16 Hz": {{16, false}}, "RC high-pass 30 Hz": {{30, true}},
		// 50 ± 5 Hz about, exactly √(50² + 5²) ∓ 5
		"notch 50 Hz": {{math.Sqrt(2525) - 5, false}, {math.Sqrt(2525) + 5, true}}} {
		padded := make([]float64, s.Total())
		copy(padded, x)
		r, err := Measure(s, loop, card(boards(t, s.RateHz)[name].put(padded), s, 2))
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Corners) != len(want) {
			t.Errorf("%s: corners %v, want %v", name, r.Corners, want)
			continue
		}
		for i, c := range r.Corners {
			if math.Abs(c.FreqHz/want[i].FreqHz-1) > 0.02 || c.Rising != want[i].Rising {
				t.Errorf("%s: corner %+v, want %+v", name, c, want[i])
			}
		}
	}
}

// TestLostSoundIsNoticed: what a busy computer does to a run.
func TestLostSoundIsNoticed(t *testing.T) {
	s := Sweep{RateHz: 44100, Seconds: 8}
	x := s.Samples()
	loop, good := card(x, s, 1), card(x, s, 2)
	run := func(change func(y []float64) []float64) error {
		_, err := Measure(s, loop, change(append([]float64(nil), good...)))
		return err
	}
	if err := run(func(y []float64) []float64 { return y }); err != nil {
		t.Fatal(err)
	}
	var lost *LostError
	for _, at := range []int{2, 4, 7} {
		for _, n := range []int{128, 1024} {
			err := run(func(y []float64) []float64 { // silence put in, then as much left out
				i, j := at*44100+17, at*44100+30000
				copy(y[i+n:j+n], append([]float64(nil), y[i:j]...))
				clear(y[i : i+n])
				return y
			})
			if !errors.As(err, &lost) || math.Abs(lost.AtSeconds-float64(at)) > 0.01 {
				t.Errorf("%d samples of silence at %d s: %v", n, at, err)
			}
		}
	}
	for _, n := range []int{256, 1024} {
		if err := run(func(y []float64) []float64 { return append(make([]float64, n), y[:len(y)-n]...) }); !errors.Is(err, ErrMoved) {
			t.Errorf("a run %d samples later than the other: %v", n, err)
		}
		if err := run(func(y []float64) []float64 { return append(y[n:], make([]float64, n)...) }); !errors.Is(err, ErrMoved) {
			t.Errorf("a run %d samples earlier than the other: %v", n, err)
		}
	}
	if err := run(func(y []float64) []float64 { // left out without a trace
		i := 7 * 44100
		return append(y[:i], append(y[i+1024:], make([]float64, 1024)...)...)
	}); !errors.Is(err, ErrMoved) {
		t.Errorf("1024 samples left out at 7 s: %v", err)
	}
}

func TestMeasureRefuses(t *testing.T) {
	s := Sweep{RateHz: 8000, Seconds: 5}
	n := s.Total()
	if _, err := Measure(s, make([]float64, n), make([]float64, n-1)); !errors.Is(err, ErrRunLength) {
		t.Errorf("a short run: %v", err)
	}
	if _, err := Measure(s, make([]float64, n), make([]float64, n)); !errors.Is(err, ErrWeak) {
		t.Errorf("silence: %v", err)
	}
	for _, bad := range []Sweep{{48000, 1}, {48000, 1000}, {100, 20}, {math.NaN(), 20}, {48000, math.NaN()}} {
		if bad.Check() == nil {
			t.Errorf("%+v was taken", bad)
		}
	}
}
