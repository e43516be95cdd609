package variability

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"pulsewright/dsp/beat"
)

// list makes normal intervals of lengths.
func list(seconds ...float64) []Interval {
	out := make([]Interval, len(seconds))
	at := 0.0
	for i, x := range seconds {
		at += x
		out[i] = Interval{AtSeconds: at, Seconds: x, Mark: Normal, Quality: 1}
	}
	return out
}

// TestReference compares with numpy and scipy: testdata/reference.py.
func TestReference(t *testing.T) {
	data, err := os.ReadFile("testdata/reference.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			Name    string
			Seconds []float64
			Marks   string
			Want    map[string]float64
		}
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) != 5 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	marks := map[byte]Mark{'N': Normal, 'E': Ectopic, 'U': Unsure, 'G': Gap}
	for _, c := range file.Cases {
		intervals := list(c.Seconds...)
		for i := range intervals {
			intervals[i].Mark = marks[c.Marks[i]]
		}
		r := Of(beat.ECG, intervals, 0)
		for id, want := range c.Want {
			switch id {
			case "splineLF", "splineHF", "lombLF", "lombHF":
				// Other methods: resampled by a spline within 4 %; with Lomb–Scargle's
				// phase within 0.5 %.
				limit := 0.04
				if strings.HasPrefix(id, "lomb") {
					limit = 0.005
				}
				if got := r.Value(strings.ToLower(id[len(id)-2:])); !(math.Abs(got/want-1) <= limit) {
					t.Errorf("%s: %g, %s %g", c.Name, got, id, want)
				}
			default:
				if got := r.Value(id); !(math.Abs(got-want) <= 1e-9*math.Abs(want)) {
					t.Errorf("%s: %s %.12g, want %.12g", c.Name, id, got, want)
				}
			}
		}
		if len(c.Want) < 13 {
			t.Errorf("%s: only %d values", c.Name, len(c.Want))
		}
	}
}

// A difference of exactly 50 ms in whole samples is never more than 50 ms, one sample more always.
func TestPNN50OfWholeSamples(t *testing.T) {
	for _, rateHz := range []float64{100, 200, 360, 500, 1000, 4000} {
		tie := int64(math.Round(0.05 * rateHz))
		for more := range int64(2) {
			tr, err := NewTracker(Config{Kind: beat.ECG, RateHz: rateHz})
			if err != nil {
				t.Fatal(err)
			}
			at, rr, step := int64(0), int64(0.8*rateHz), tie+more
			for range 400 {
				at += rr
				tr.Beats([]beat.Beat{{Sample: at, Quality: 1}})
				if float64(rr+step) > 1.1*rateHz || float64(rr+step) < 0.6*rateHz {
					step = -step
				}
				rr += step
			}
			r := tr.Stretch(KeptSeconds).Report()
			if got := r.Value("pnn50"); got != 100*float64(more) {
				t.Errorf("%g Hz, differences of 50 ms and %d samples: pNN50 %g %%, want %d", rateHz, more, got, 100*more)
			}
		}
	}
}

// TestByHand: six intervals worked out on paper.
func TestByHand(t *testing.T) {
	// 800 860 820 | 1500 left out | 800 790 850: differences +60 −40, −10 +60.
	r := func() Report {
		l := list(0.8, 0.86, 0.82, 1.5, 0.8, 0.79, 0.85)
		l[3].Mark = Ectopic
		var s sums
		for range 12 { // long enough for the measures of differences
			for _, iv := range l {
				s.add(iv)
			}
			s.joined = false // each round by itself
		}
		return s.report(beat.Pulse, 0)
	}()
	for _, c := range []struct {
		id   string
		want float64
	}{
		{"meanNN", 4.92 / 6},
		{"rmssd", math.Sqrt((3600 + 1600 + 100 + 3600) / 4.0 * 1e-6)},
		{"pnn50", 50},
		{"sd1", math.Sqrt((3600 + 1600 + 100 + 3600) / 8.0 * 1e-6)},
	} {
		// 1.5 of 6.42 s is left out, more than a fifth: no figure.
		if got := r.Value(c.id); !math.IsNaN(got) {
			t.Errorf("%s = %g with 23 %% of the time left out", c.id, got)
		}
		var s sums
		for _, iv := range []float64{0.8, 0.86, 0.82} {
			s.add(Interval{Seconds: iv, Mark: Normal})
		}
		s.add(Interval{Seconds: 0.9, Mark: Ectopic})
		for _, iv := range []float64{0.8, 0.79, 0.85} {
			s.add(Interval{Seconds: iv, Mark: Normal})
		}
		s.span, s.used = 61, 60 // as if it were long enough
		if got := s.report(beat.Pulse, 0).Value(c.id); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s = %.9g, by hand %.9g", c.id, got, c.want)
		}
	}
	if r.Name != "pulse rate variability" || r.Intervals != 84 || r.Used != 72 || r.Ectopic != 12 || math.Abs(r.LeftOutShare-1.0/7) > 1e-12 {
		t.Errorf("%+v", r)
	}
}

// TestSine: a sine-modulated series has known figures. With the interval
// x = m + a·sin(2πfk) over whole cycles, SDNN is a/√2; successive differences have the
// amplitude 2a·sin(πf), so RMSSD is √2·a·sin(πf); a sine of time has the power a²/2.
func TestSine(t *testing.T) {
	for _, f := range []float64{0.05, 0.125, 0.25, 0.4} { // cycles a beat
		const n, m, a = 800, 0.8, 0.04
		x := make([]float64, n)
		for k := range x {
			x[k] = m + a*math.Sin(2*math.Pi*f*float64(k))
		}
		r := Of(beat.ECG, list(x...), 0)
		for _, c := range []struct {
			id   string
			want float64
		}{
			{"meanNN", m}, {"sdnn", a / math.Sqrt2}, {"rmssd", math.Sqrt2 * a * math.Sin(math.Pi*f)},
			{"sd1", a * math.Sin(math.Pi*f)}, {"sd2", a * math.Cos(math.Pi*f)},
		} {
			// The ends of the series and n−1 make a difference of 1/n.
			if got := r.Value(c.id); math.Abs(got/c.want-1) > 2.0/n {
				t.Errorf("f %g: %s %.6g, closed form %.6g", f, c.id, got, c.want)
			}
		}
		if got, want := r.Value("sd1"), r.Value("rmssd")/math.Sqrt2; math.Abs(got-want) > 1e-15 {
			t.Errorf("SD1 %g, RMSSD/√2 %g", got, want)
		}
	}
	// Of time: the power of each line is a²/2, found in its band.
	for _, c := range []struct {
		hz   float64
		band string
	}{{0.02, "vlf"}, {0.1, "lf"}, {0.3, "hf"}} {
		const a = 0.03
		var x []float64
		for at := 0.0; at < 301; {
			v := 0.75 + a*math.Sin(2*math.Pi*c.hz*at)
			// The interval ends at at+v: that is the time it is given.
			v = 0.75 + a*math.Sin(2*math.Pi*c.hz*(at+v))
			at += v
			x = append(x, v)
		}
		r := Of(beat.ECG, list(x...), 0)
		for _, band := range []string{"vlf", "lf", "hf"} {
			got := r.Value(band)
			if band == c.band && math.Abs(got/(a*a/2)-1) > 0.03 {
				t.Errorf("%g Hz: %s %g s², closed form %g", c.hz, band, got, a*a/2)
			}
			if band != c.band && got > 0.02*a*a/2 {
				t.Errorf("%g Hz: %s %g s² leaks", c.hz, band, got)
			}
		}
		// A tenth of the intervals left out here and there moves the power little.
		thin := list(x...)
		for i := range thin {
			if i%11 == 5 {
				thin[i].Mark = Ectopic
			}
		}
		if got := Of(beat.ECG, thin, 0).Value(c.band); math.Abs(got/(a*a/2)-1) > 0.05 {
			t.Errorf("%g Hz, a tenth left out: %s %g s², closed form %g", c.hz, c.band, got, a*a/2)
		}
	}
}

// TestWhite: white intervals of variance σ² have the one-sided density 2Tσ², so the
// share of a band in the variance is its width over half the mean rate.
func TestWhite(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 1))
	x := make([]float64, 60*600)
	for i := range x {
		x[i] = 0.5 + 0.02*random.NormFloat64()
	}
	r := Of(beat.ECG, list(x...), 0)
	for band, width := range map[string]float64{"lf": 0.11, "hf": 0.25} {
		want := 2 * 0.5 * 0.02 * 0.02 * width
		if got := r.Value(band); math.Abs(got/want-1) > 0.08 { // sixty segments of 33 and 75 lines: 3 and 2 % of spread
			t.Errorf("%s %g s², closed form %g", band, got, want)
		}
	}
}

// TestConstant: equal intervals do not vary, and nothing is divided by nothing.
func TestConstant(t *testing.T) {
	x := make([]float64, 2000)
	for i := range x {
		x[i] = 0.75
	}
	r := Of(beat.ECG, list(x...), 0)
	for _, id := range []string{"sdnn", "rmssd", "pnn50", "sd1", "sd2", "vlf", "lf", "hf"} {
		if got := r.Value(id); !(got >= 0 && got < 1e-12) {
			t.Errorf("%s = %g of constant intervals", id, got)
		}
	}
	if got := r.Value("triangular"); got != 1 {
		t.Errorf("triangular index %g, one bin holds all", got)
	}
	if got := r.Value("tinn"); got != 2.0/128 {
		t.Errorf("TINN %g s, the narrowest triangle has feet beside its top", got)
	}
	for _, m := range r.Measures {
		if m.ID == "lfhf" && m.Value != nil && !(*m.Value >= 0) {
			t.Errorf("LF/HF %g", *m.Value)
		}
	}
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}
}

// TestTooShort: each measure says what it needs, and comes when it is there.
func TestTooShort(t *testing.T) {
	make_ := func(seconds float64) []Interval {
		var x []float64
		for at, k := 0.0, 0; at < seconds; k++ {
			v := 0.8 + 0.02*math.Sin(float64(k))
			x = append(x, v)
			at += v
		}
		return list(x...)
	}
	for id, need := range map[string]float64{"meanNN": 10, "rmssd": 60, "pnn50": 60, "sdnn": 300, "lf": 300, "hf": 300, "triangular": 1200, "tinn": 1200, "sdann": 3600} {
		// Intervals of 0.8 s: two of them may be missing at the ends.
		short, long := Of(beat.ECG, make_(need-2.5), 0), Of(beat.ECG, make_(need-1.6), 0)
		if got := short.Value(id); !math.IsNaN(got) {
			t.Errorf("%s = %g over %g s", id, got, need-2.5)
		}
		if got := long.Value(id); math.IsNaN(got) {
			t.Errorf("%s has no value over %g s", id, need)
		}
		for _, m := range short.Measures {
			if m.ID == id && m.Absent != fmt.Sprintf("needs %s of beats; there are %s", span(need), span(short.SpanSeconds)) {
				t.Errorf("%s: %q", id, m.Absent)
			}
		}
	}
	for seconds, want := range map[float64]string{10: "10 s", 60: "1 min", 80: "80 s", 100: "1 min 40 s", 300: "5 min", 3600: "1 h", 299.9: "4 min 59 s"} {
		if got := span(seconds); got != want {
			t.Errorf("span(%g) = %q, want %q", seconds, got, want)
		}
	}
}

// TestNothing: empty, one interval, nonsense.
func TestNothing(t *testing.T) {
	for name, l := range map[string][]Interval{
		"empty":    nil,
		"one":      list(0.8),
		"gap":      {{Seconds: 40, Mark: Gap}},
		"nonsense": list(math.NaN(), math.Inf(1), -3, 0, 1e300),
	} {
		Classify(l)
		r := Of(beat.Pulse, l, 0.004)
		for _, m := range r.Measures {
			if m.Value != nil || m.Absent == "" {
				t.Errorf("%s: %+v", name, m)
			}
		}
		if _, err := json.Marshal(r); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestPowerEnds: times that do not rise give no power, and an end.
func TestPowerEnds(t *testing.T) {
	for _, at := range [][]float64{{1, 1, 1, 1}, {3, 2, 1}, {0, 1, math.NaN()}, {0, 1}} {
		p := segmentPoints{at, make([]float64, len(at))}
		for _, v := range p.bands() {
			if !math.IsNaN(v) {
				t.Errorf("times %v: power %g", at, v)
			}
		}
	}
}

// TestClassify: rhythms whose odd ones are known.
func TestClassify(t *testing.T) {
	steady := func(n int, x float64) (v []float64) {
		for range n {
			v = append(v, x)
		}
		return v
	}
	for _, c := range []struct {
		name string
		rr   []float64
		out  []int // ectopic
	}{
		{"steady", steady(12, 0.8), nil},
		{"an early beat and its pause", slices.Concat(steady(8, 0.8), []float64{0.5, 1.1}, steady(8, 0.8)), []int{8, 9}},
		{"an early beat without a long pause", slices.Concat(steady(8, 0.8), []float64{0.5, 0.85}, steady(8, 0.8)), []int{8, 9}},
		{"a missed beat", slices.Concat(steady(8, 0.8), []float64{1.6}, steady(8, 0.8)), []int{8}},
		{"a step from 80 to 120 per minute", slices.Concat(steady(10, 0.75), steady(10, 0.5)), nil},
		// The newest ones have no neighbours behind them yet: provisional.
		{"the step just now", slices.Concat(steady(10, 0.75), steady(5, 0.5)), []int{12, 13}},
		{"breathing by a tenth", func() (v []float64) {
			for k := range 40 {
				v = append(v, 0.9+0.09*math.Sin(2*math.Pi*float64(k)/5))
			}
			return v
		}(), nil},
		{"a long one in deep breathing, within five spreads", func() (v []float64) {
			for k := range 41 {
				v = append(v, 0.9+0.09*math.Sin(2*math.Pi*float64(k)/5))
			}
			v[20] = 1.2
			return v
		}(), []int{20}},
		{"every second beat early", slices.Concat([]float64{0.5, 1}, []float64{0.5, 1}, []float64{0.5, 1}, []float64{0.5, 1}, []float64{0.5, 1}, []float64{0.5, 1}), []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}},
	} {
		l := list(c.rr...)
		Classify(l)
		var out []int
		for i, iv := range l {
			if iv.Mark == Ectopic {
				out = append(out, i)
			}
		}
		if !slices.Equal(out, c.out) {
			t.Errorf("%s: left out %v, want %v", c.name, out, c.out)
		}
	}
	l := list(steady(9, 0.8)...)
	l[4].Quality, l[6].Seconds = 0.1, 3.5
	Classify(l)
	if l[4].Mark != Unsure || l[6].Mark != Gap {
		t.Errorf("a poor beat: %s, 3.5 s: %s", l[4].Mark, l[6].Mark)
	}
	// A movement: short poor ones, and one that looks well among them.
	l = list(slices.Concat(steady(12, 0.8), steady(14, 0.35), steady(12, 0.8))...)
	for i := 12; i < 26; i++ {
		if i != 16 {
			l[i].Quality = 0.2
		}
	}
	Classify(l)
	for i, iv := range l {
		if (i < 12 || i >= 26) != (iv.Mark == Normal) {
			t.Errorf("a movement of 14 intervals from the twelfth on: number %d is %s", i, iv.Mark)
		}
	}
}

// TestAloneAmongUnsure: an interval with more unsure than sure ones around it, ten on each
// side, is unsure itself.
func TestAloneAmongUnsure(t *testing.T) {
	for sure, want := range map[int]Mark{2: Unsure, 9: Unsure, 12: Normal, 20: Normal} {
		list := make([]Interval, 21)
		for i := range list {
			list[i] = Interval{Seconds: 1, Quality: 0.1}
			if i == 10 || i < 10 && i < (sure+1)/2 || i > 10 && i-11 < sure/2 {
				list[i].Quality = 0.9
			}
		}
		Classify(list)
		if list[10].Mark != want {
			t.Errorf("with %d sure ones of 20 around it: %s, want %s", sure, list[10].Mark, want)
		}
	}
}
