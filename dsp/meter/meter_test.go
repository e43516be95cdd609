package meter

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pulsewright/dsp/beat"
)

// board is an invented front end with known truth: a heartbeat about a mid-rail,
// hum and noise, an amplifier's limits, a converter.
type board struct {
	kind            string // "pulse" or "ecg"
	rate, seconds   float64
	bpm             float64
	height          float64 // volts foot to peak, or R over baseline
	inverted        bool
	hum, humHz      float64 // volts rms of the fundamental; harmonics 0.1 and 0.3 of it
	noise           float64 // V/√Hz, white, before the converter
	ampLow, ampHigh float64
	converter       float64 // volts at full scale from 0
	bits            int
	drift           float64 // V/min
	touchAt, touch  float64 // seconds; volts that decay with tau
	tau             float64
	level           float64
}

// plain is a good board.
func plain() board {
	return board{kind: "pulse", rate: 1000, seconds: 10, bpm: 72, height: 2, hum: 0.005, humHz: 50.03, noise: 20e-6, ampLow: 0.02, ampHigh: 4.9, converter: 5, bits: 12, level: 2.2, touchAt: -1}
}

// ramp is the two-Gaussian pulse of Tang et al. 2020, of height 1 about its foot,
// as a function of the angle −π…π.
func twoGaussians(th float64) (s float64) {
	for k := -1; k <= 1; k++ {
		p := th + 2*math.Pi*float64(k)
		d1, d2 := (p+1.5161)/0.6303, (p-0.8186)/1.0225
		s += math.Exp(-d1*d1/2) + 0.1999*math.Exp(-d2*d2/2)
	}
	return s
}

// run makes the samples (volts, quantised) and the true beats.
func (b board) run(seed uint64) (x []float64, beats []beat.Beat, cfg Config) {
	r := rand.New(rand.NewPCG(seed, 5))
	n := int(b.seconds * b.rate)
	x = make([]float64, n)
	// Foot, peak and height of the pulse's formula, by search.
	lo, hi, foot, peak := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for th := -math.Pi; th < math.Pi; th += 1e-4 {
		if v := twoGaussians(th); v > hi {
			hi, peak = v, th
		}
	}
	for th := peak - 2.5; th < peak; th += 1e-4 {
		if v := twoGaussians(th); v < lo {
			lo, foot = v, th
		}
	}
	period := 60 / b.bpm
	sign := 1.0
	if b.inverted {
		sign = -1
	}
	for i := range x {
		t := float64(i) / b.rate
		if b.kind == "pulse" {
			th := math.Mod(t/period, 1)*2*math.Pi - math.Pi
			x[i] = sign * b.height * ((twoGaussians(th)-lo)/(hi-lo) - 0.4)
		} else {
			for k := math.Floor(t/period) - 1; k <= t/period+1; k++ {
				at := (k + 0.5) * period
				for _, w := range []struct{ at, a, sd float64 }{{-0.19, 0.12, 0.02}, {-0.03, -0.12, 0.007}, {0, 1, 0.010}, {0.03, -0.2, 0.008}, {0.28, 0.3, 0.045}} {
					d := (t - at - w.at) / w.sd
					x[i] += sign * b.height * w.a * math.Exp(-d*d/2)
				}
			}
		}
	}
	for k := 0.0; k*period < b.seconds; k++ {
		var bt beat.Beat
		if b.kind == "pulse" {
			at := func(th float64) int64 { return int64(math.Round((k + (th+math.Pi)/(2*math.Pi)) * period * b.rate)) }
			bt = beat.Beat{Sample: at(peak), Foot: at(foot), Kind: beat.Pulse, Amplitude: b.height, Quality: 1}
		} else {
			s := int64(math.Round((k + 0.5) * period * b.rate))
			bt = beat.Beat{Sample: s, Foot: s, Kind: beat.ECG, Amplitude: sign * b.height, Quality: 1}
		}
		if bt.Sample < int64(n) {
			beats = append(beats, bt)
		}
	}
	lsb := b.converter / (math.Exp2(float64(b.bits)) - 1)
	for i := range x {
		t := float64(i) / b.rate
		w := 2 * math.Pi * b.humHz * t
		x[i] += b.level + b.hum*math.Sqrt2*math.Cos(w) + b.drift*t/60
		for h, a := range []float64{2: 0.1, 3: 0.3} { // an anti-alias filter lets none above half the rate through
			if float64(h)*b.humHz < b.rate/2 {
				x[i] += b.hum * math.Sqrt2 * a * math.Cos(float64(h)*w+float64(h))
			}
		}
		if b.touchAt >= 0 && t >= b.touchAt {
			x[i] += b.touch * math.Exp(-(t-b.touchAt)/b.tau)
		}
		x[i] += b.noise * math.Sqrt(b.rate/2) * r.NormFloat64()
		x[i] = max(b.ampLow, min(b.ampHigh, x[i]))
		x[i] = max(0, min(b.converter, math.Round(x[i]/lsb)*lsb))
	}
	cfg = Config{RateHz: b.rate, Kind: b.kind, SupplyLow: 0, SupplyHigh: 5, MidRail: 2.5, ConverterLow: 0, ConverterHigh: b.converter, VoltsPerCount: lsb}
	return x, beats, cfg
}

func (b board) report(t testing.TB, seed uint64) Report {
	t.Helper()
	x, beats, cfg := b.run(seed)
	m, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	m.Process(x)
	m.Beats(beats)
	return m.Report()
}

// The converter's own noise adds to the board's: LSB²/12 up to half the rate.
func (b board) density() float64 {
	lsb := b.converter / (math.Exp2(float64(b.bits)) - 1)
	return math.Sqrt(b.noise*b.noise + lsb*lsb/12/(b.rate/2))
}

// Truth is the generator's. The table is the meter's error.
func TestSweep(t *testing.T) {
	type point struct {
		name  string
		board board
		tol   [3]float64 // pulse, hum, noise: relative
	}
	var points []point
	add := func(name string, change func(*board), tol ...float64) {
		b := plain()
		change(&b)
		p := point{name: name, board: b, tol: [3]float64{0.02, 0.01, 0.12}}
		copy(p.tol[:], tol)
		points = append(points, p)
	}
	add("as it is", func(b *board) {})
	for _, h := range []float64{0.05, 0.5, 3} {
		add(fmt.Sprintf("pulse %g V", h), func(b *board) { b.height = h }, 0.03)
	}
	for _, h := range []float64{0.0005, 0.05, 0.5} {
		add(fmt.Sprintf("hum %g mV rms", h*1e3), func(b *board) { b.hum = h }, 0.03, 0.05*0.0005/h+0.01)
	}
	for _, d := range []float64{2e-6, 200e-6, 1e-3} {
		add(fmt.Sprintf("noise %g µV/√Hz", d*1e6), func(b *board) { b.noise = d }, 0.03, 0.01+3*d*1/0.005)
	}
	for _, k := range []int{8, 10, 16} {
		add(fmt.Sprintf("%d bits", k), func(b *board) { b.bits = k }, 0.03, 0.12) // hum well below one step of 8 bits
	}
	for _, r := range []float64{125, 250, 500, 4000, 48000} {
		add(fmt.Sprintf("%g Hz", r), func(b *board) { b.rate = r }, 0.03, 0.03)
	}
	add("60 Hz mains", func(b *board) { b.humHz = 59.95 })
	add("ECG 1 V", func(b *board) { b.kind, b.height = "ecg", 1 }, 0.03, 0.02, 0.2)
	add("ECG 1 V, 250 Hz", func(b *board) { b.kind, b.height, b.rate = "ecg", 1, 250 }, 0.05, 0.03, 0.25)
	add("ECG 1 V upside down, hum 50 mV", func(b *board) { b.kind, b.height, b.inverted, b.hum = "ecg", 1, true, 0.05 }, 0.06, 0.02, 0.25)

	t.Logf("| board | pulse V | error %% | hum mV rms | error %% | frequency error Hz | noise µV/√Hz | error %% | clipping found | polarity |")
	t.Logf("|---|---|---|---|---|---|---|---|---|---|")
	for _, p := range points {
		b := p.board
		r := b.report(t, 3)
		total := b.hum * math.Sqrt(1+0.01+0.09)
		if 3*b.humHz > b.rate/2 {
			total = b.hum * math.Sqrt(1.01)
		}
		if 2*b.humHz > b.rate/2 {
			total = b.hum
		}
		ep := r.Pulse.HeightVolts/b.height - 1
		eh := r.Hum.VoltsRMS/total - 1
		en := r.Noise.VoltsPerRootHz/b.density() - 1
		clip := r.Clipping.ConverterHighShare + r.Clipping.ConverterLowShare + r.Clipping.FlatHighShare + r.Clipping.FlatLowShare
		t.Logf("| %s | %.4g | %+.2f | %.4g | %+.2f | %+.4f | %.3g | %+.1f | %.2g | %v %v |", p.name, b.height, 100*ep, 1e3*total, 100*eh, r.Hum.FreqHz-b.humHz, 1e6*b.density(), 100*en, clip, r.Polarity.Known, r.Polarity.Upright)
		if !r.Pulse.Known || math.Abs(ep) > p.tol[0] {
			t.Errorf("%s: pulse %+v, true %v", p.name, r.Pulse, b.height)
		}
		if !r.Hum.Found || math.Abs(eh) > p.tol[1] || math.Abs(r.Hum.FreqHz-b.humHz) > 0.02+3*b.noise/b.hum*0.1 {
			t.Errorf("%s: hum %+v, true %v", p.name, r.Hum, total)
		}
		if !r.Noise.Known || math.Abs(en) > p.tol[2] {
			t.Errorf("%s: noise %+v, true %v", p.name, r.Noise, b.density())
		}
		if clip != 0 {
			t.Errorf("%s: clipping seen where there is none: %+v", p.name, r.Clipping)
		}
		if !r.Polarity.Known || r.Polarity.Upright == b.inverted {
			t.Errorf("%s: polarity %+v", p.name, r.Polarity)
		}
		if _, err := json.Marshal(r); err != nil {
			t.Errorf("%s: %v", p.name, err)
		}
	}
}

// Shares of clipped samples against a count of the generator's own.
func TestClipping(t *testing.T) {
	t.Logf("| limit | true share %% | found %% | at V |")
	t.Logf("|---|---|---|---|")
	for _, c := range []struct {
		name                     string
		ampLow, ampHigh, convert float64
		hum                      float64
		kind                     string
		height                   float64
	}{
		{"amplifier's top 3.2 V", 0, 3.2, 5, 0.005, "pulse", 2},
		{"amplifier's top 3.2 V, hum 50 mV", 0, 3.2, 5, 0.05, "pulse", 2},
		{"amplifier's top 3.35 V (barely)", 0, 3.35, 5, 0.002, "pulse", 2},
		{"amplifier's bottom 1.5 V", 1.5, 5, 5, 0.005, "pulse", 2},
		{"converter's top 3.3 V", 0, 5, 3.3, 0.005, "pulse", 2},
		{"converter's bottom", -9, 5, 5, 0.005, "pulse", 6.5},
		{"ECG, amplifier's top 2.8 V", 0, 2.8, 5, 0.005, "ecg", 1},
		{"ECG, no limit", 0, 5, 5, 0.005, "ecg", 1},
		{"none", 0, 5, 5, 0.005, "pulse", 2},
		{"none, hum 0.5 V", 0, 5, 5, 0.5, "pulse", 1},
	} {
		b := plain()
		b.ampLow, b.ampHigh, b.converter, b.hum, b.kind, b.height = c.ampLow, c.ampHigh, c.convert, c.hum, c.kind, c.height
		lim := b
		lim.ampLow, lim.ampHigh, lim.converter, lim.bits = -100, 100, 200, 30
		free, _, _ := lim.run(3)
		lim.ampLow, lim.level = -100, b.level
		var share float64
		for i := range free {
			if free[i] >= min(b.ampHigh, b.converter) || free[i] <= max(b.ampLow, 0) {
				share += 1 / float64(len(free))
			}
		}
		r := b.report(t, 3)
		got := r.Clipping.ConverterHighShare + r.Clipping.ConverterLowShare + r.Clipping.FlatHighShare + r.Clipping.FlatLowShare
		t.Logf("| %s | %.2f | %.2f | %.3g |", c.name, 100*share, 100*got, max(r.Clipping.FlatHighVolts, r.Clipping.FlatLowVolts))
		if math.Abs(got-share) > 0.2*share+0.003 {
			t.Errorf("%s: found %v, true %v: %+v", c.name, got, share, r.Clipping)
		}
		if share > 0.01 && r.Clipping.FlatHighShare > 0 && math.Abs(r.Clipping.FlatHighVolts-b.ampHigh) > 0.02 {
			t.Errorf("%s: flat at %v", c.name, r.Clipping.FlatHighVolts)
		}
		bad := verdict(r, "clipping").Grade
		if (bad == good) != (share == 0) {
			t.Errorf("%s: graded %s", c.name, bad)
		}
	}
}

func verdict(r Report, topic string) Verdict {
	for _, v := range r.Verdicts {
		if v.Topic == topic {
			return v
		}
	}
	return Verdict{}
}

// A touch that decays with τ is back within 5 % after τ·ln 20.
func TestSettling(t *testing.T) {
	t.Logf("| τ s | touch V | true s | found s |")
	t.Logf("|---|---|---|---|")
	for _, c := range []struct{ tau, touch, height float64 }{{0.1, 2, 0.02}, {0.3, 2, 0.02}, {1, 2, 0.02}, {1, -1.5, 0.02}, {0.5, 2, 0.2}} {
		b := plain()
		b.seconds, b.touchAt, b.touch, b.tau, b.height, b.hum = 10, 3.01, c.touch, c.tau, c.height, 0.001
		r := b.report(t, 1)
		want := c.tau * math.Log(20)
		t.Logf("| %g | %g | %.2f | %.2f |", c.tau, c.touch, want, r.Settling.Seconds)
		// The pulse widens the band: up to 0.75 of its height on 5 % of the touch.
		least := c.tau * math.Log(1/(0.05+1.5*c.height/math.Abs(c.touch)))
		if !r.Settling.Known || r.Settling.Seconds < least-0.06 || r.Settling.Seconds > want+0.1 {
			t.Errorf("τ %v: %+v, true %v", c.tau, r.Settling, want)
		}
		if math.Abs(float64(r.Settling.AtSample)/b.rate-b.touchAt) > 0.06+0.11*c.tau {
			t.Errorf("τ %v: at %v", c.tau, r.Settling.AtSample)
		}
	}
	r := plain().report(t, 1)
	if r.Settling.Known {
		t.Errorf("no touch: %+v", r.Settling)
	}
	// It is remembered when it has left the window.
	b := plain()
	b.seconds, b.touchAt, b.touch, b.tau, b.height = 30, 3, 2, 0.2, 0.02
	x, _, cfg := b.run(1)
	m, _ := New(cfg)
	for i := 0; i < len(x); i += 1000 {
		m.Process(x[i : i+1000])
		r = m.Report()
	}
	if !r.Settling.Known || math.Abs(float64(r.Settling.AtSample)-3000) > 60 {
		t.Errorf("remembered: %+v", r.Settling)
	}
}

func TestDrift(t *testing.T) {
	for _, d := range []float64{0, 0.6, -3} {
		b := plain()
		b.drift, b.height, b.hum = d, 0.5, 0.001
		r := b.report(t, 1)
		// Over the 6 s between the centres of the first and the last Hann window.
		if !r.Drift.Known || math.Abs(r.Drift.VoltsPerMinute-d) > 0.05+0.03*math.Abs(d) || math.Abs(r.Drift.SwingVolts-math.Abs(d)/10) > 0.01 {
			t.Errorf("drift %v: %+v", d, r.Drift)
		}
	}
}

// Constant, stuck, short, bad and every rate: a clear answer each.
func TestClearAnswers(t *testing.T) {
	for _, c := range []struct {
		name  string
		value float64
		want  string
	}{
		{"upper end", 5, "stuck at the converter's upper end"}, {"lower end", 0, "stuck at the converter's lower end"},
		{"rail", 3.6, "near the upper rail"}, {"low rail", 0.3, "near the lower rail"}, {"middle", 2.5, "stands still at 2.50 V"},
	} {
		x := make([]float64, 3000)
		for i := range x {
			x[i] = c.value
		}
		r, err := Whole(Config{RateHz: 1000, SupplyLow: 0, SupplyHigh: 5, MidRail: 2.5, ConverterLow: 0, ConverterHigh: 5, VoltsPerCount: 5.0 / 1023}, x, nil)
		if err != nil {
			t.Fatal(err)
		}
		v := verdict(r, "signal")
		if v.Grade != poor || !strings.Contains(v.Text, c.want) || v.Remedy == "" || !r.Level.Stuck {
			t.Errorf("%s: %+v", c.name, r.Verdicts)
		}
		if r.Hum.Known || r.Hum.Reason == "" || r.Pulse.Known || r.Noise.Known {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
	for _, rate := range []float64{25, 50, 60, 100, 110, 125, 200, 360, 1000, 8000, 192000} {
		b := plain()
		b.rate = rate
		if rate > 5000 {
			b.seconds = 2.5
		}
		x, beats, cfg := b.run(2)
		for _, c := range []Config{cfg, Unknown(rate)} {
			m, err := New(c)
			if err != nil {
				t.Fatal(err)
			}
			m.Process(x)
			m.Beats(beats)
			r := m.Report()
			for _, g := range []struct {
				name   string
				known  bool
				reason string
			}{{"level", r.Level.Known, r.Level.Reason}, {"clipping", r.Clipping.Known, r.Clipping.Reason}, {"pulse", r.Pulse.Known, r.Pulse.Reason}, {"hum", r.Hum.Known, r.Hum.Reason},
				{"noise", r.Noise.Known, r.Noise.Reason}, {"converter noise", r.Noise.ConverterKnown, r.Noise.ConverterReason}, {"ends", r.Clipping.ConverterKnown, r.Clipping.ConverterReason},
				{"rails", r.Level.RailKnown, r.Level.RailReason}, {"drift", r.Drift.Known, r.Drift.Reason}, {"settling", r.Settling.Known, r.Settling.Reason}, {"polarity", r.Polarity.Known, r.Polarity.Reason}} {
				if !g.known && g.reason == "" {
					t.Errorf("%v Hz: %s: neither known nor a reason", rate, g.name)
				}
			}
			if rate <= 60 && r.Hum.Known {
				t.Errorf("%v Hz: hum %+v", rate, r.Hum)
			}
			if _, err := json.Marshal(r); err != nil {
				t.Errorf("%v Hz: %v", rate, err)
			}
			if len(r.Verdicts) != 7 {
				t.Errorf("%v Hz: %d verdicts", rate, len(r.Verdicts))
			}
		}
	}
	x := make([]float64, 2000)
	x[777] = math.NaN()
	if _, err := Whole(Unknown(1000), x, nil); err == nil || !strings.Contains(err.Error(), "sample 777") {
		t.Errorf("NaN: %v", err)
	}
	m, _ := New(Unknown(1000))
	m.Process(x)
	if r := m.Report(); r.NotFinite != 1 || r.Samples != 2000 || math.Abs(r.Seconds-1.222) > 1e-9 {
		t.Errorf("NaN: %+v", r)
	}
	m.Reset()
	m.Process(x[:500])
	if r := m.Report(); r.Level.Known || r.Level.Reason == "" || r.Samples != 500 || len(r.Verdicts) != 1 {
		t.Errorf("short: %+v", r)
	}
	nan := math.NaN()
	for i, c := range []Config{{}, {RateHz: 20}, {RateHz: 1000, Kind: "eeg"}, {RateHz: 1000, SupplyLow: 5, SupplyHigh: 0, ConverterLow: nan, ConverterHigh: nan},
		{RateHz: 1000, SupplyLow: nan, SupplyHigh: nan, ConverterLow: 1, ConverterHigh: 1}, {RateHz: 1000, SupplyLow: nan, SupplyHigh: math.Inf(1), ConverterLow: nan, ConverterHigh: nan},
		{RateHz: 1000, SupplyLow: nan, SupplyHigh: nan, ConverterLow: nan, ConverterHigh: nan, VoltsPerCount: nan}, {RateHz: 1000, SupplyLow: nan, SupplyHigh: nan, ConverterLow: nan, ConverterHigh: nan, MainsHz: 55}} {
		if _, err := New(c); err == nil {
			t.Errorf("config %d: no error", i)
		}
	}
}

func TestStreamed(t *testing.T) {
	b := plain()
	b.seconds = 25
	x, beats, cfg := b.run(4)
	m, _ := New(cfg)
	m.Process(x)
	m.Beats(beats)
	want, _ := json.Marshal(m.Report())
	for _, size := range []int{1, 17, 999} {
		k, _ := New(cfg)
		k.Process(x[:5000])
		k.Reset()
		for i := 0; i < len(x); i += size {
			k.Process(x[i:min(len(x), i+size)])
		}
		k.Beats(beats)
		if got, _ := json.Marshal(k.Report()); string(got) != string(want) {
			t.Errorf("blocks of %d:\n%s\nwhole\n%s", size, got, want)
		}
	}
	if n := testing.AllocsPerRun(50, func() { m.Process(x[:100]) }); n != 0 {
		t.Errorf("%v allocations a block", n)
	}
	r, err := Whole(cfg, x, beats)
	if err != nil {
		t.Fatal(err)
	}
	if r.Seconds != 25 || math.Abs(r.Hum.VoltsRMS/(0.005*math.Sqrt(1.1))-1) > 0.02 || r.Pulse.Beats < 28 {
		t.Errorf("whole: %+v", r)
	}
}

func BenchmarkSecond1kHz(b *testing.B) {
	x, beats, cfg := plain().run(1)
	m, _ := New(cfg)
	m.Process(x)
	m.Beats(beats)
	for b.Loop() { // one second of one channel with its report
		m.Process(x[:1000])
		m.Report()
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)*100, "%core/channel")
}
