package variability

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pulsewright/dsp/beat"
)

const testHz = 250

// rhythm makes beats for so many seconds: 75 per minute with some variation, an
// early beat now and then, a poor one now and then.
func rhythm(seconds float64, seed uint64) (beats []beat.Beat) {
	random := rand.New(rand.NewPCG(seed, 2))
	for at := 1.0; at < seconds; {
		b := beat.Beat{Sample: int64(at * testHz), Kind: beat.ECG, Amplitude: 1, Quality: 0.9}
		b.Foot = b.Sample
		x := 0.8 + 0.03*random.NormFloat64()
		switch random.IntN(60) {
		case 0:
			x *= 0.6
		case 1:
			b.Quality = 0.2
		}
		at += x
		beats = append(beats, b)
	}
	return beats
}

func tracker(t *testing.T, kind beat.Kind) *Tracker {
	t.Helper()
	tr, err := NewTracker(Config{Kind: kind, RateHz: testHz})
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// TestTrackerIsTheWhole: beats in pieces give what the list of all intervals gives.
func TestTrackerIsTheWhole(t *testing.T) {
	for _, seconds := range []float64{20, 310, 850, 5000} {
		beats := rhythm(seconds, 5)
		var all []Interval
		for i := 1; i < len(beats); i++ {
			all = append(all, Interval{Sample: beats[i].Sample, Seconds: float64(beats[i].Sample-beats[i-1].Sample) / testHz, Quality: min(beats[i].Quality, beats[i-1].Quality)})
		}
		Classify(all)
		want := Of(beat.ECG, all, 1.0/testHz)
		if seconds > 300 && (want.Ectopic < 4 || want.Unsure < 4) {
			t.Fatalf("the test rhythm has %d early and %d poor beats", want.Ectopic, want.Unsure)
		}
		for _, size := range []int{1, 2, 7, len(beats)} {
			tr := tracker(t, beat.ECG)
			for piece := range slices.Chunk(beats, size) {
				tr.Beats(piece)
				if size < 3 && seconds < 400 {
					tr.Stretch(300).Report() // looking changes nothing
					tr.Stretch(0).Report()
				}
			}
			if got := tr.Stretch(0).Report(); !reflect.DeepEqual(got, want) {
				t.Errorf("%g s in pieces of %d: whole session\n%+v, want\n%+v", seconds, size, got, want)
			}
			// Five minutes: from the newest back until 300 s are full.
			from, sum := len(all), 0.0
			for from > 0 && sum < 300 {
				from--
				sum += all[from].Seconds
			}
			window := Of(beat.ECG, all[from:], 1.0/testHz)
			got := tr.Stretch(300).Report()
			if got.Intervals != window.Intervals || math.Abs(got.Value("rmssd")-window.Value("rmssd")) > 1e-12 || math.IsNaN(got.Value("hf")) != (seconds < 300) {
				t.Errorf("%g s in pieces of %d: five minutes\n%+v, want\n%+v", seconds, size, got, window)
			}
		}
	}
}

// TestTrackerForgets: the memory of a long session is bounded.
func TestTrackerForgets(t *testing.T) {
	tr := tracker(t, beat.ECG)
	tr.Beats(rhythm(6*3600, 6))
	if n := len(tr.intervals); n > 1.6*KeptSeconds/0.6 {
		t.Errorf("%d intervals kept after six hours", n)
	}
	if got := tr.Stretch(0).Report(); got.Intervals < 20000 || math.IsNaN(got.Value("sdann")) {
		t.Errorf("six hours: %+v", got)
	}
	if got := tr.Stretch(KeptSeconds).Report().SpanSeconds; got < KeptSeconds {
		t.Errorf("%d s asked for, %g s there", KeptSeconds, got)
	}
}

// TestTrackerBreaks: no interval reaches over a gap, and the figures stay finite.
func TestTrackerBreaks(t *testing.T) {
	tr := tracker(t, beat.ECG)
	beats := rhythm(100, 7)
	for i, b := range beats {
		if i == 60 {
			tr.Break()
		}
		if i == 80 {
			tr.SetRateHz(0) // ignored
		}
		tr.Beats([]beat.Beat{b})
	}
	tr.Beats([]beat.Beat{beats[3], {Sample: -5}, {Sample: beats[len(beats)-1].Sample + 200, Foot: 1 << 60, Quality: math.NaN(), Amplitude: math.Inf(1)}})
	s := tr.Stretch(300)
	if n := len(s.Intervals); n != len(beats) || s.Intervals[59].Mark != Gap || s.Report().Gaps != 1 {
		t.Errorf("%d intervals of %d beats, the one over the gap is %q, %d gaps", n, len(beats), s.Intervals[59].Mark, s.Report().Gaps)
	}
	if m := s.Intervals[len(s.Intervals)-1].Mark; m != Unsure {
		t.Errorf("a quality that is no number: %q", m)
	}
	tr.Breathing()
}

// TestTrackerRate: intervals follow the measured rate from then on.
func TestTrackerRate(t *testing.T) {
	tr := tracker(t, beat.ECG)
	for i := range 20 {
		if i == 10 {
			tr.SetRateHz(500)
		}
		tr.Beats([]beat.Beat{{Sample: int64(200 * i), Quality: 1}})
	}
	s := tr.Stretch(60)
	if a, b := s.Intervals[5].Seconds, s.Intervals[15].Seconds; a != 0.8 || b != 0.4 {
		t.Errorf("200 samples are %g s at 250 Hz and %g s at 500 Hz", a, b)
	}
}

// TestTrackerMoved: a heart of 75 bpm on a board that goes from 250 to 180 samples a second, told
// 7 s later: every interval is 0.8 s, listed and in the sums, whoever has looked meanwhile.
func TestTrackerMoved(t *testing.T) {
	tr := tracker(t, beat.ECG)
	const change, told = 60.5, 67.5
	moved := false
	for at := 1.0; at < 200; at += 0.8 {
		if at > told && !moved {
			moved = true
			tr.Moved(change*testHz, 180)
		}
		n := int64(math.Round(testHz*min(at, change) + 180*max(0, at-change)))
		tr.Beats([]beat.Beat{{Sample: n, Foot: n, Kind: beat.ECG, Quality: 0.9}})
		tr.Stretch(0)
	}
	s := tr.Stretch(0)
	for _, iv := range s.Intervals {
		if math.Abs(iv.Seconds-0.8) > 0.006 || iv.Mark != Normal {
			t.Errorf("at %.1f s: %.3f s, %s", iv.AtSeconds, iv.Seconds, iv.Mark)
		}
	}
	if last, mean := s.Intervals[len(s.Intervals)-1].AtSeconds, s.Report().Value("meanNN"); math.Abs(last-199.4) > 0.9 || math.Abs(mean-0.8) > 0.001 {
		t.Errorf("the last beat at %.2f s, mean of %.4f s; want 199.4 and 0.8", last, mean)
	}
}

func TestTrackerRefuses(t *testing.T) {
	for _, c := range []Config{{Kind: beat.ECG}, {Kind: beat.ECG, RateHz: math.NaN()}, {Kind: beat.ECG, RateHz: 1e6}, {Kind: "other", RateHz: 250}, {Kind: beat.Pulse, RateHz: 250, StepSamples: -1}} {
		if _, err := NewTracker(c); err == nil {
			t.Errorf("%+v was taken", c)
		}
	}
}

// TestLevel: the mean over an interval is the mean of its samples, a missing tenth
// spoils it.
func TestLevel(t *testing.T) {
	var l level
	l.init(testHz)
	x := make([]float64, 10*testHz)
	for i := range x {
		x[i] = 2 + float64(i/500)
	}
	for i := range 100 {
		x[1000+i] = math.NaN()
	}
	for at := 0; at < len(x); at += 33 {
		l.add(int64(at), x[at:min(at+33, len(x))])
	}
	if got := l.mean(500, 1000); got != 3 {
		t.Errorf("mean %g, want 3", got)
	}
	if got := l.mean(900, 1100); !math.IsNaN(got) {
		t.Errorf("mean %g of half an interval", got)
	}
	if got := l.mean(2400, 2600); !math.IsNaN(got) {
		t.Errorf("mean %g beyond the newest sample", got)
	}
	if got := l.mean(-100, 50); !math.IsNaN(got) {
		t.Errorf("mean %g before the first sample", got)
	}
}

// TestPulseArrival: pulses a known time after their R peaks, every fifth missing.
func TestPulseArrival(t *testing.T) {
	run := func(delay float64, jitter float64, missing int, rateHz float64) Arrival {
		e, p := tracker(t, beat.ECG), tracker(t, beat.Pulse)
		random := rand.New(rand.NewPCG(1, 1))
		for i := range 60 {
			r := int64(float64(i) * testHz / rateHz)
			e.Beats([]beat.Beat{{Sample: r, Foot: r, Quality: 0.9}})
			if i%missing == missing-1 {
				continue
			}
			foot := r + int64((delay+jitter*(random.Float64()-0.5))*testHz)
			p.Beats([]beat.Beat{{Sample: foot + 30, Foot: foot, Quality: 0.9}})
		}
		a, ok := PulseArrival(e, p)
		if !ok {
			t.Fatal("an ECG and a pulse were not taken")
		}
		if _, ok := PulseArrival(p, e); ok {
			t.Error("a pulse and an ECG, in the wrong order, were taken")
		}
		return a
	}
	if a := run(0.24, 0.02, 1000, 1.25); a.MedianSeconds == nil || math.Abs(*a.MedianSeconds-0.24) > 0.006 || *a.SpreadSeconds > 0.02 || a.Quality < 0.8 {
		t.Errorf("0.24 s: %+v", a)
	}
	if a := run(0.3, 0, 5, 2.5); a.MedianSeconds == nil || *a.MedianSeconds != 0.3 || a.Quality > 0.85 {
		t.Errorf("0.3 s at 150 per minute, every fifth pulse missing: %+v", a)
	}
	if a := run(0.2, 0, 5, 1/0.35); a.MedianSeconds == nil || *a.MedianSeconds != 0.2 || *a.SpreadSeconds != 0 || 5*a.Pairs > 4*a.Peaks+5 {
		t.Errorf("0.2 s at 171 per minute, every fifth pulse missing, whose R peak must not take the next one's: %+v", a)
	}
	for name, a := range map[string]Arrival{"every second pulse missing": run(0.2, 0, 2, 1), "no relation": run(0.3, 0.5, 1000, 1), "too late": run(0.9, 0, 1000, 0.9)} {
		if a.MedianSeconds != nil || a.Absent == "" {
			t.Errorf("%s: %+v", name, a)
		}
	}
	if a, _ := PulseArrival(tracker(t, beat.ECG), tracker(t, beat.Pulse)); a.Absent == "" {
		t.Error("no beats at all and no word of it")
	}
}

// breathing plays beats at a rate whose signs follow a breath.
func breathing(t *testing.T, bpm, breaths, amplitude, baseline, interval, noise float64) Breathing {
	t.Helper()
	tr := tracker(t, beat.Pulse)
	random := rand.New(rand.NewPCG(3, 1))
	at := 0.0
	var fed int64
	for at < 70 {
		phase := math.Sin(2 * math.Pi * breaths / 60 * at)
		n := int64((at+1)*testHz) - fed
		x := make([]float64, n)
		for i := range x {
			s := float64(fed+int64(i)) / testHz
			x[i] = 2.5 + baseline*math.Sin(2*math.Pi*breaths/60*s) + 0.5*math.Sin(2*math.Pi*bpm/60*s) + noise*random.NormFloat64()
		}
		tr.Samples(fed, x)
		fed += n
		tr.Beats([]beat.Beat{{Sample: int64(at*testHz) + 40, Foot: int64(at * testHz), Quality: 0.9, Amplitude: 1 + amplitude*phase + noise*random.NormFloat64()}})
		at += 60/bpm*(1+interval*phase) + 0.1*noise*random.NormFloat64()
	}
	return tr.Breathing()
}

func TestBreathing(t *testing.T) {
	for _, c := range []struct{ bpm, breaths, amplitude, baseline, interval float64 }{
		{70, 15, 0.1, 0.05, 0.04},
		{70, 6, 0.1, 0.05, 0.04},
		{60, 24, 0.1, 0.05, 0.02},
		{120, 40, 0.1, 0.05, 0.02},
		{75, 12, 0.08, 0, 0.05},
		{75, 18, 0.08, 0.05, 0},
	} {
		b := breathing(t, c.bpm, c.breaths, c.amplitude, c.baseline, c.interval, 0.005)
		if b.PerMinute == nil || math.Abs(*b.PerMinute-c.breaths) > 0.5 || b.Quality < 0.5 {
			t.Errorf("%+v: %+v", c, b)
		}
		if math.Abs(b.HighestPerMinute-c.bpm/2) > 1.5 {
			t.Errorf("%+v: told up to %g per minute, half of the heart rate is %g", c, b.HighestPerMinute, c.bpm/2)
		}
	}
	// Clear rows of 15 breaths a minute.
	breathed := func() (rows []breathRow) {
		for at := 0.0; at < 60; at += 0.8 {
			x := math.Sin(2 * math.Pi * 0.25 * at)
			rows = append(rows, breathRow{at, 1 + 0.1*x, x, 0.8 + 0.02*x})
		}
		return rows
	}
	if b := breathe(breathed(), 1); b.PerMinute == nil || math.Abs(*b.PerMinute-15) > 0.2 {
		t.Errorf("clear rows: %+v", b)
	}
	for name, b := range map[string]Breathing{
		"no breath":                     breathing(t, 70, 15, 0, 0, 0, 0.02),
		"too slow to be told":           breathing(t, 70, 3, 0.1, 0.05, 0.03, 0.005),
		"nearly half of the heart rate": breathing(t, 60, 29.5, 0.1, 0.05, 0.02, 0.005),
		"no beats":                      breathe(nil, 1),
		"the beats ended":               breathe(breathed(), 12),
		"nothing changes":               breathe(make([]breathRow, 60), 1),
	} {
		if b.PerMinute != nil || b.Absent == "" || b.Quality > breathQuality {
			t.Errorf("%s: %+v", name, b)
		}
	}
}

// Intervals of a time when the sample rate is in doubt, and of five seconds before, are unsure, told in time or with the beats late.
func TestDoubtfulRate(t *testing.T) {
	for _, late := range []int{0, 6} {
		tracker, err := NewTracker(Config{Kind: beat.ECG, RateHz: 250})
		if err != nil {
			t.Fatal(err)
		}
		for at := 0; at < 250*200; at++ { // a beat each second, doubt from 50 s to 100 s
			if at == 50*250 || at == 100*250 {
				tracker.Doubt(int64(at), at == 50*250)
			}
			if at%250 == 0 && at >= late*250 {
				tracker.Beats([]beat.Beat{{Sample: int64(at - late*250), Quality: 1, Amplitude: 1}})
			}
		}
		for _, iv := range tracker.Stretch(0).Intervals[1:] {
			want := Normal
			if iv.AtSeconds > 45 && iv.AtSeconds-iv.Seconds < 100 {
				want = Unsure
			}
			if iv.Mark != want {
				t.Errorf("told %d s late: the interval to %g s is %s, want %s", late, iv.AtSeconds, iv.Mark, want)
			}
		}
	}
}
