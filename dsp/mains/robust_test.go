package mains

import (
	"bufio"
	"compress/gzip"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every rate has a clear answer: found within 1 %, or a reason. Folded
// frequencies are |f − fs·round(f/fs)|.
func TestRates(t *testing.T) {
	for _, c := range []struct {
		rate, nominal, hum float64
		found              bool
		reason             string
	}{
		{25, 0, 50, false, "cannot be measured at this rate"}, // 50 → 0, 60 → 10
		{25, 60, 60, false, "it appears at 10 Hz"},            // 60 − 2·25
		{50, 0, 50, false, "cannot be measured at this rate"}, // 50 → 0
		{60, 60, 60, false, "it appears at 0 Hz"},             //
		{80, 50, 50, true, "folded at 29.9 Hz"},               // 80 − 50
		{100, 50, 50, false, "it appears at 50 Hz"},           // half the rate
		{100, 0, 50, false, "50 Hz hum cannot be measured"},   // only 60 can be looked for
		{100, 60, 60, true, "folded at 39.9 Hz"},              //
		{110, 0, 50, false, "look alike"},                     // 50 and 110 − 60
		{110, 50, 50, true, ""},                               //
		{110, 60, 60, true, "folded at 49.9 Hz"},              //
		{125, 0, 60, true, ""},                                //
		{125, 0, 50, true, ""},                                //
		{128, 0, 60, true, ""},                                //
		{250, 0, 60, true, ""},                                //
		{360, 0, 50, true, ""},                                //
		{500, 50, 50, true, ""},                               //
		{500, 60, 50, false, "no hum found"},                  // asked for the wrong one
		{1000, 0, 60, true, ""},                               //
		{8000, 0, 50, true, ""},                               //
		{44100, 0, 60, true, ""},                              //
		{192000, 0, 50, true, ""},                             //
	} {
		n := int(2.1 * c.rate)
		x := pulse(c.rate, 70, n)
		addHum(x, c.rate, c.hum+0.07, 0.4, 0.02)
		addNoise(x, 0.0002, 3)
		m := measure(t, Config{RateHz: c.rate, NominalHz: c.nominal}, x)
		if m.Found != c.found || !strings.Contains(m.Reason, c.reason) {
			t.Errorf("%+v: %+v", c, m)
			continue
		}
		if m.Found && (math.Abs(m.AmplitudeVoltsRMS[0]*math.Sqrt2/0.02-1) > 0.01 || math.Abs(m.FreqHz-c.hum-0.07) > 0.02 || m.NominalHz != c.hum) {
			t.Errorf("%+v: %+v", c, m)
		}
		if c.rate > 44100 { // slow under the race detector
			continue
		}
		// The canceller takes any rate too.
		k := newCanceller(t, Config{RateHz: c.rate, NominalHz: c.nominal})
		out := make([]float64, n)
		k.Process(out, x)
		if (k.FreqHz() > 0) != c.found {
			t.Errorf("%+v: canceller at %v Hz: %s", c, k.FreqHz(), k.Reason())
		}
		if !c.found && math.Abs(out[n-1]-x[n-1]) > 0 {
			t.Errorf("%+v: canceller changes the signal: %s", c, k.Reason())
		}
	}
	for _, c := range []Config{{}, {RateHz: 24}, {RateHz: 192001}, {RateHz: math.NaN()}, {RateHz: 100, NominalHz: 55}, {RateHz: 100, Harmonics: 9}} {
		if _, err := NewTracker(c); err == nil {
			t.Errorf("%+v: no error", c)
		}
		if _, err := NewCanceller(c); err == nil {
			t.Errorf("%+v: no error", c)
		}
	}
}

// Without hum none is found: noise, a pulse and an ECG in noise, a constant, a
// square wave at rail, 120 windows where there is chance.
func TestNoHum(t *testing.T) {
	false_ := 0
	for i := range 120 {
		x := make([]float64, 2000)
		switch i % 3 {
		case 1:
			x = pulse(1000, 60+float64(i%40), 2000)
		case 2:
			x, _ = ecg(1000, 60+float64(i%40), 0.6, 2000)
		}
		addNoise(x, 0.001, uint64(i))
		if m := measure(t, Config{RateHz: 1000}, x); m.Found {
			false_++
			t.Logf("%d: %+v", i, m)
		}
	}
	// Chance 40 bins · exp(−25/2) = 1.5e-4 a window; 2 of 120 would be a hundred times that.
	if false_ > 1 {
		t.Errorf("hum found in %d of 120 windows without", false_)
	}
	for _, v := range []float64{0, 2.5, 5, -1e6} {
		x := make([]float64, 3000)
		for i := range x {
			x[i] = v
		}
		if m := measure(t, Config{RateHz: 1000}, x); m.Found || !strings.Contains(m.Reason, "no hum found") {
			t.Errorf("constant %v: %+v", v, m)
		}
	}
	if m := measure(t, Config{RateHz: 1000}, make([]float64, 300)); m.Found || !strings.Contains(m.Reason, "wait") {
		t.Errorf("short: %+v", m)
	}
}

func TestUncertainty(t *testing.T) {
	// The stated standard deviation against the scatter of 100 windows, and against
	// the closed form σ√(2/N) for the peak amplitude (N: samples that were used).
	var sum2, said, f2, fsaid float64
	const n = 100
	for i := range n {
		x := make([]float64, 2200)
		addHum(x, 1000, 50.1, float64(i), 1)
		addNoise(x, 0.2, uint64(1000+i))
		m := measure(t, Config{RateHz: 1000, Harmonics: 1}, x)
		if !m.Found {
			t.Fatal(m.Reason)
		}
		d := m.AmplitudeVoltsRMS[0] - 1/math.Sqrt2
		sum2 += d * d / n
		said += m.UncertaintyVoltsRMS[0] / n
		f2 += (m.FreqHz - 50.1) * (m.FreqHz - 50.1) / n
		fsaid += m.FreqUncertaintyHz / n
	}
	want := 0.2 * math.Sqrt(2.0/2000) / math.Sqrt2
	if math.Abs(said/want-1) > 0.2 {
		t.Errorf("states %v, closed form %v", said, want)
	}
	if r := math.Sqrt(sum2) / said; r < 0.75 || r > 1.35 {
		t.Errorf("scatter %v, stated %v", math.Sqrt(sum2), said)
	}
	if r := math.Sqrt(f2) / fsaid; r < 0.75 || r > 1.35 {
		t.Errorf("frequency scatter %v, stated %v", math.Sqrt(f2), fsaid)
	}
}

func TestTrackerContract(t *testing.T) {
	x, _ := ecg(500, 75, 1, 3000)
	addHum(x, 500, 59.9, 1, 0.05, 0.02)
	addNoise(x, 0.001, 9)
	want := measure(t, Config{RateHz: 500}, x)
	if !want.Found || len(want.AmplitudeVoltsRMS) != 3 {
		t.Fatalf("%+v", want)
	}
	for h, a := range []float64{0.05, 0.02, 0} {
		if d := math.Abs(want.AmplitudeVoltsRMS[h] - a/math.Sqrt2); d > 0.01*0.05+4*want.UncertaintyVoltsRMS[h] {
			t.Errorf("harmonic %d: %v, want %v", h+1, want.AmplitudeVoltsRMS[h], a/math.Sqrt2)
		}
	}
	for _, size := range []int{1, 3, 100, 777} {
		tr, _ := NewTracker(Config{RateHz: 500})
		tr.Process(x[:999])
		tr.Reset()
		for i := 0; i < len(x); i += size {
			tr.Process(x[i:min(i+size, len(x))])
			if i%500 < size {
				tr.Measure() // looking does not change what comes after
			}
		}
		if got := tr.Measure(); got.FreqHz != want.FreqHz || got.AmplitudeVoltsRMS[0] != want.AmplitudeVoltsRMS[0] {
			t.Errorf("blocks of %d: %+v, whole %+v", size, got, want)
		}
	}
	tr, _ := NewTracker(Config{RateHz: 500})
	if n := testing.AllocsPerRun(100, func() { tr.Process(x[:50]) }); n != 0 {
		t.Errorf("%v allocations a block", n)
	}
	y := append([]float64(nil), x...)
	y[1000], y[1200] = math.NaN(), math.Inf(-1)
	tr.Reset()
	tr.Process(y)
	if got := tr.Measure(); tr.NotFinite() != 2 || !got.Found || math.Abs(got.FreqHz-59.9) > 0.02 {
		t.Errorf("after NaN: %d, %+v", tr.NotFinite(), got)
	}
}

// The shared conformance suite's signal has no hum; here the loop is at work, with
// steps of amplitude and frequency, and holds.
func TestCancellerSplit(t *testing.T) {
	x, peaks := ecg(250, 80, 1, 5000)
	addHum(x, 250, 50.2, 1, 0.1)
	addHum(x[2500:], 250, 50.4, 0, 0.3)
	run := func(size int) []float64 {
		c := newCanceller(t, Config{RateHz: 250})
		out := make([]float64, len(x))
		k := 0
		for i := 0; i < len(x); {
			for k < len(peaks) && peaks[k] <= i {
				c.Hold(20)
				k++
			}
			end := min(len(x), i+size)
			if k < len(peaks) {
				end = min(end, peaks[k])
			}
			c.Process(out[i:end], x[i:end])
			i = end
		}
		if c.FreqHz() == 0 {
			t.Fatal("nothing found")
		}
		return out
	}
	want := run(5000)
	for _, size := range []int{1, 7, 64, 250} {
		for i, v := range run(size) {
			if v != want[i] {
				t.Fatalf("blocks of %d: sample %d %v, want %v", size, i, v, want[i])
			}
		}
	}
}

// The hum grows threefold, moves in frequency, goes away: what is left 3 s later.
func TestCancellerFollows(t *testing.T) {
	const rate = 1000
	clean, peaks := ecg(rate, 75, 1, 40*rate)
	x := append([]float64(nil), clean...)
	phase := 0.0
	for i := range x {
		s := float64(i) / rate
		a, f := 0.05, 50.0
		switch {
		case s >= 30:
			a = 0
		case s >= 20: // 0.005 Hz/s, faster than a grid does
			a, f = 0.15, 50+0.005*(s-20)
		case s >= 10:
			a = 0.15
		}
		phase += 2 * math.Pi * f / rate
		x[i] += a * math.Cos(phase)
	}
	addNoise(x, 0.0005, 4)
	c := newCanceller(t, Config{RateHz: rate})
	out := make([]float64, len(x))
	c.Process(out, x)
	for _, w := range []struct {
		from, to int
		hum      float64
	}{{3, 10, 0.05}, {12, 20, 0.15}, {23, 30, 0.15}, {35, 40, 0.05}} {
		all, _ := left(out[:w.to*rate], clean[:w.to*rate], rate, w.from*rate, peaks)
		db := 20 * math.Log10(math.Sqrt(max(0, all*all-0.0005*0.0005))/(w.hum/math.Sqrt2))
		t.Logf("%d–%d s: %.1f dB", w.from, w.to, db)
		if db > -30 {
			t.Errorf("%d–%d s: left %.1f dB of the hum", w.from, w.to, db)
		}
	}
	if c.FreqHz() != 0 || c.Reason() != "no hum found" {
		t.Errorf("10 s after the hum went: %v Hz, %q", c.FreqHz(), c.Reason())
	}
}

// Hold alone keeps a burst out that the canceller's own look cannot tell from a
// change of the hum: one as small as the threshold, at the mains frequency.
func TestHold(t *testing.T) {
	const rate = 1000
	x := make([]float64, 8*rate)
	addHum(x, rate, 50, 0, 0.01)
	addNoise(x, 0.002, 1)
	clean := append([]float64(nil), x...)
	addHum(x[6000:6400], rate, 50, 0, 0.004)
	last := func(x []float64, hold bool) float64 {
		c := newCanceller(t, Config{RateHz: rate})
		out := make([]float64, len(x))
		c.Process(out[:6000], x[:6000])
		if hold {
			c.Hold(400)
		}
		c.Process(out[6000:6700], x[6000:6700])
		return c.VoltsRMS()
	}
	// In-phase part of the burst changes the amplitude that is subtracted.
	ref := last(clean, false)
	moved, held := math.Abs(last(x, false)-ref), math.Abs(last(x, true)-ref)
	t.Logf("subtracted %.4g V; moved by %.2g without hold, %.2g with", ref, moved, held)
	if held > 0.3*moved {
		t.Errorf("hold does not keep the burst out: %v, without %v", held, moved)
	}
}

func dataDir(t *testing.T) string {
	dir := os.Getenv("PULSEWRIGHT_DATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "data")
	}
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("open data missing: %v", err)
		}
		t.Skipf("open data missing: %v", err)
	}
	return dir
}

// first212 reads one signal of a format-212 record, in millivolts (MIT-BIH: 200
// counts/mV, zero at 1024).
func first212(t *testing.T, path string, n int) []float64 {
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(bufio.NewReader(f))
	if err != nil {
		t.Fatal(err)
	}
	raw := make([]byte, 3*n)
	if _, err := io.ReadFull(z, raw); err != nil {
		t.Fatal(err)
	}
	x := make([]float64, n)
	for i := range x {
		v := int(raw[3*i]) | int(raw[3*i+1]&15)<<8
		if v >= 2048 {
			v -= 4096
		}
		x[i] = float64(v-1024) / 200
	}
	return x
}

// Hum of known size at 47.3 Hz, where the records have none of their own, on real
// ECGs (MIT-BIH Arrhythmia Database, 360 Hz): the errors over all two-second
// windows of the first 100 seconds.
func TestOnRealECG(t *testing.T) {
	dir := dataDir(t)
	t.Logf("| record | hum mV peak | found in windows %% | median amplitude error %% | 90th centile %% | 90th centile frequency error Hz |")
	t.Logf("|---|---|---|---|---|---|")
	for _, name := range []string{"100", "105", "203", "208"} {
		for _, amp := range []float64{0.01, 0.1, 0.5} {
			x := first212(t, filepath.Join(dir, "mitdb", name+".dat.gz"), 100*360)
			addHum(x, 360, 47.3, 0, amp)
			tr, err := NewTracker(Config{RateHz: 360, NominalHz: 50})
			if err != nil {
				t.Fatal(err)
			}
			var ea, ef []float64
			found := 0
			for i := 0; i+720 <= len(x); i += 720 {
				tr.Process(x[i : i+720])
				if m := tr.Measure(); m.Found {
					found++
					ea = append(ea, math.Abs(m.AmplitudeVoltsRMS[0]*math.Sqrt2/amp-1))
					ef = append(ef, math.Abs(m.FreqHz-47.3))
				}
			}
			share := float64(found) / float64(len(x)/720)
			t.Logf("| %s | %g | %.0f | %.2f | %.2f | %.4f |", name, amp, 100*share, 100*centile(ea, 0.5), 100*centile(ea, 0.9), centile(ef, 0.9))
			if amp >= 0.1 && (share < 0.95 || centile(ea, 0.9) > 0.05 || centile(ef, 0.9) > 0.05) {
				t.Errorf("record %s, %v mV: found %.2f, errors %v %v", name, amp, share, centile(ea, 0.9), centile(ef, 0.9))
			}
		}
	}
}

func centile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	for i := 1; i < len(s); i++ {
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	return s[int(p*float64(len(s)-1))]
}

func BenchmarkCanceller1kHz(b *testing.B) {
	x, _ := ecg(1000, 75, 1, 10000)
	addHum(x, 1000, 50.1, 0, 0.1, 0.01, 0.03)
	c := newCanceller(b, Config{RateHz: 1000})
	out := make([]float64, len(x))
	b.ReportAllocs()
	for b.Loop() {
		c.Process(out, x) // ten seconds of one channel
	}
	b.ReportMetric(float64(b.Elapsed().Seconds())/float64(b.N)/10*100, "%core/channel")
}

func BenchmarkMeasure1kHz(b *testing.B) {
	x, _ := ecg(1000, 75, 1, 3000)
	addHum(x, 1000, 50.1, 0, 0.1, 0.01, 0.03)
	tr, _ := NewTracker(Config{RateHz: 1000})
	tr.Process(x)
	for b.Loop() {
		tr.Measure()
	}
}
