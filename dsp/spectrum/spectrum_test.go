package spectrum

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// signal is the input of testdata/welch.py.
func signal(rateHz float64, n int) []float64 {
	x := make([]float64, n)
	s := uint64(1)
	for i := range x {
		s = s*6364136223846793005 + 1442695040888963407
		u := float64(s>>11)/(1<<53) - 0.5
		t := float64(i) / rateHz
		x[i] = 0.3 + 0.002*t + math.Sin(2*math.Pi*7.3*t) + 0.2*math.Cos(2*math.Pi*50*t+1) + 0.1*u
	}
	return x
}

// Reference: scipy.signal.welch 1.10.1, testdata/welch.py.
func TestWelchAgainstScipy(t *testing.T) {
	raw, err := os.ReadFile("testdata/welch.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		Cases []struct {
			RateHz                    float64
			Samples, Segment, Overlap int
			Window                    Window
			Detrend                   Detrend
			DF                        float64
			Density                   []float64
		}
	}
	if err := json.Unmarshal(raw, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.Cases) != 6 {
		t.Fatalf("%d cases", len(ref.Cases))
	}
	for _, c := range ref.Cases {
		lap := c.Overlap
		if lap == 0 {
			lap = -1
		}
		d, err := Of(Config{RateHz: c.RateHz, SegmentSamples: c.Segment, OverlapSamples: lap, Window: c.Window, Detrend: c.Detrend}, signal(c.RateHz, c.Samples))
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(d.BinHz-c.DF) > 1e-12 || len(d.V2PerHz) != len(c.Density) {
			t.Fatalf("%s: bins %v × %d, want %v × %d", c.Window, d.BinHz, len(d.V2PerHz), c.DF, len(c.Density))
		}
		var peak float64
		for _, v := range c.Density {
			peak = math.Max(peak, v)
		}
		for i, want := range c.Density {
			// Relative, with a floor at the rounding of the largest bin: after the
			// mean is off, bin 0 is all rounding.
			if got := d.V2PerHz[i]; math.Abs(got-want) > 1e-9*want+1e-15*peak {
				t.Errorf("%s/%s bin %d: %.15g, scipy %.15g", c.Window, c.Detrend, i, got, want)
			}
		}
	}
}

// Closed form: white noise of variance σ² has the one-sided density 2σ²/fs.
func TestWhiteNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 1<<18)
	for i := range x {
		x[i] = 0.5 * r.NormFloat64()
	}
	for _, w := range []Window{Hann, Hamming, Blackman, FlatTop, Rectangular} {
		d, err := Of(Config{RateHz: 1000, SegmentSamples: 256, Window: w}, x)
		if err != nil {
			t.Fatal(err)
		}
		var mean float64
		for _, v := range d.V2PerHz[5:124] {
			mean += v / 119
		}
		if want := 2 * 0.25 / 1000; math.Abs(mean/want-1) > 0.01 {
			t.Errorf("%s: density %v, want %v", w, mean, want)
		}
		if p := d.BandPower(100, 300); math.Abs(p/(0.25*0.4)-1) > 0.02 {
			t.Errorf("%s: power in 100–300 Hz %v, want %v", w, p, 0.1)
		}
	}
}

// Closed form: a sine of amplitude A shows A²/2, in its bin as power and over
// the bins about it as band power.
func TestSine(t *testing.T) {
	x := make([]float64, 8000)
	for i := range x {
		x[i] = 2 + 3*math.Sin(2*math.Pi*60*float64(i)/1000)
	}
	for _, w := range []Window{Hann, Hamming, Blackman, FlatTop, Rectangular} {
		d, err := Of(Config{RateHz: 1000, SegmentSamples: 1000, Window: w}, x)
		if err != nil {
			t.Fatal(err)
		}
		if p := d.Power(60); math.Abs(p-4.5) > 1e-9 {
			t.Errorf("%s: power %v, want 4.5", w, p)
		}
		if p := d.BandPower(50, 70); math.Abs(p-4.5) > 1e-9 {
			t.Errorf("%s: band power %v, want 4.5", w, p)
		}
		if a := d.RootHz(nil)[60]; math.Abs(a*a-d.V2PerHz[60]) > 1e-12 {
			t.Errorf("root density %v", a)
		}
	}
	// At 0 Hz and at half the rate there is no second side: power is the square.
	for i := range x {
		x[i] = 2 + 3*float64(1-2*(i%2))
	}
	d, err := Of(Config{RateHz: 1000, SegmentSamples: 100, Window: Rectangular, Detrend: None}, x)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(d.Power(0)-4) > 1e-9 || math.Abs(d.Power(50)-9) > 1e-9 {
		t.Errorf("ends %v, %v; want 4, 9", d.Power(0), d.Power(50))
	}
}

// Values: Heinzel, Rüdiger, Schilling 2002, table of windows (Hann 1.5, Hamming
// 1.3628, flat-top 3.77 as in the common 5-term form, Blackman 1.7268).
func TestENBW(t *testing.T) {
	for w, want := range map[Window]float64{Hann: 1.5, Hamming: 1.3628, Blackman: 1.7268, FlatTop: 3.77, Rectangular: 1} {
		if got := ENBW(w, 4096); math.Abs(got/want-1) > 1e-3 {
			t.Errorf("%s: %v bins, want %v", w, got, want)
		}
	}
	if !math.IsNaN(ENBW("kaiser", 100)) {
		t.Error("unknown window has a bandwidth")
	}
}

func TestRunning(t *testing.T) {
	x := signal(1000, 20000)
	cfg := Config{RateHz: 1000, SegmentSamples: 512, AverageSeconds: 4}
	whole, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	whole.Process(x)
	var want, got, last Density
	whole.Density(&want)
	// A running average over 4 s is the one-shot average of the newest segments:
	// 14 of them begin and end within 4000 samples, at multiples of 256.
	if want.Averages != 14 {
		t.Fatalf("%d segments", want.Averages)
	}
	end := (20000-512)/256*256 + 512
	last, err = Of(cfg, x[end-512-13*256:end])
	if err != nil {
		t.Fatal(err)
	}
	for _, block := range []int{1, 7, 64, 511, 512, 513, 4096} {
		w, _ := New(cfg)
		w.Process(x[:1234])
		w.Reset()
		for i := 0; i < len(x); i += block {
			w.Process(x[i:min(i+block, len(x))])
		}
		w.Density(&got)
		for i := range want.V2PerHz {
			if got.V2PerHz[i] != want.V2PerHz[i] {
				t.Fatalf("block %d bin %d: %v, whole %v", block, i, got.V2PerHz[i], want.V2PerHz[i])
			}
			if math.Abs(got.V2PerHz[i]-last.V2PerHz[i]) > 1e-12*last.V2PerHz[i] {
				t.Fatalf("bin %d: running %v, one-shot %v", i, got.V2PerHz[i], last.V2PerHz[i])
			}
		}
	}
	if n := testing.AllocsPerRun(20, func() { whole.Process(x[:1000]); whole.Density(&want) }); n != 0 {
		t.Errorf("%v allocations a block", n)
	}
}

func TestBadValues(t *testing.T) {
	x := signal(250, 5000)
	x[1000] = math.NaN()
	if _, err := Of(Config{RateHz: 250, SegmentSamples: 100}, x); err == nil || !strings.Contains(err.Error(), "sample 1000") {
		t.Errorf("NaN: %v", err)
	}
	w, _ := New(Config{RateHz: 250, SegmentSamples: 100})
	for i := range x {
		w.Process(x[i : i+1])
	}
	// Sample 1000 is in the segments that begin at 950 and at 1000.
	if w.Skipped() != 2 {
		t.Errorf("skipped %d segments, want 2", w.Skipped())
	}
	var d Density
	w.Density(&d)
	if d.Averages != 97 {
		t.Errorf("%d averages, want 97", d.Averages)
	}
	for i, v := range d.V2PerHz {
		if math.IsNaN(v) {
			t.Fatalf("bin %d is NaN", i)
		}
	}
	for _, c := range []Config{
		{}, {RateHz: math.NaN()}, {RateHz: math.Inf(1)}, {RateHz: 100, SegmentSamples: 1}, {RateHz: 100, SegmentSamples: -4},
		{RateHz: 100, SegmentSamples: 10, OverlapSamples: 10}, {RateHz: 100, Window: "x"}, {RateHz: 100, Detrend: "x"},
		{RateHz: 192000, AverageSeconds: 600}, {RateHz: 100, AverageSeconds: math.NaN()},
	} {
		if _, err := New(c); err == nil {
			t.Errorf("%+v: no error", c)
		}
	}
	for _, rate := range []float64{25, 100, 360, 1000, 48000, 192000} {
		if _, err := New(Config{RateHz: rate, AverageSeconds: 8}); err != nil {
			t.Errorf("%v Hz: %v", rate, err)
		}
	}
	if _, err := Of(Config{RateHz: 100, SegmentSamples: 64}, x[:63]); err == nil {
		t.Error("short signal: no error")
	}
}

// The nearest powers of two to 4 s, by hand: 100 Hz lies between 256 and 512.
func TestSegmentNear(t *testing.T) {
	for rateHz, want := range map[float64]int{1: 16, 25: 128, 100: 512, 250: 1024, 360: 1024, 1000: 4096, 4000: 16384} {
		if got := SegmentNear(4, rateHz); got != want {
			t.Errorf("4 s at %g Hz: %d samples, want %d", rateHz, got, want)
		}
	}
}
