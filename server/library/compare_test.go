package library

import (
	"encoding/json"
	"math"
	"net/http"
	"path/filepath"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/server/analysis"
)

// written records counts of one channel that begin at the given samples.
func written(t *testing.T, folder, name string, c acquire.Channel, rateHz float64, parts map[int64][]int32, order ...int64) {
	t.Helper()
	w, err := recording.Create(filepath.Join(folder, name), recording.Header{Info: acquire.Info{ClaimedRateHz: rateHz, Channels: []acquire.Channel{c}}, NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range order {
		if err := w.Write([][]int32{parts[at]}, at); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// judged asks the route.
func judged(t *testing.T, folder, request string, status int) analysis.Stretch {
	t.Helper()
	w := reviewed(t, folder, request)
	if w.Code != status {
		t.Fatalf("%s: status %d, want %d: %s", request, w.Code, status, w.Body)
	}
	var s analysis.Stretch
	if status == http.StatusOK {
		if err := json.Unmarshal(w.Body.Bytes(), &s); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// TestAnalysisOfASine: a sine of amplitude A at a bin's centre has the density
// A/√2 over the root of the window's noise bandwidth there (closed form), and swings
// by 2A. The longer of two runs is judged.
func TestAnalysisOfASine(t *testing.T) {
	folder := t.TempDir()
	const rate, amplitude, freq = 256.0, 0.4, 16.0
	sine := func(n int) []int32 {
		x := make([]int32, n)
		for i := range x {
			x[i] = int32(math.Round(amplitude * 10000 * math.Sin(2*math.Pi*freq*float64(i)/rate)))
		}
		return x
	}
	c := acquire.Channel{Label: "generator", Kind: acquire.KindOther, Unit: "V", VoltsPerCount: 1e-4, MinCount: -20000, MaxCount: 20000}
	written(t, folder, "sine.edf", c, rate, map[int64][]int32{0: sine(2560), 5120: sine(7680)}, 0, 5120)

	s := judged(t, folder, "/recordings/sine.edf/analysis", http.StatusOK)
	if s.From != 5120 || s.To != 12800 || s.Unit != "V" || s.RateHz != rate {
		t.Errorf("judged samples %d to %d in %s at %g Hz: want 5120 to 12800, V, %g", s.From, s.To, s.Unit, s.RateHz, rate)
	}
	if swing := s.Report.Level.SwingVolts; math.Abs(swing-2*amplitude) > 1e-3 {
		t.Errorf("the swing is %g V, want %g", swing, 2*amplitude)
	}
	peak := 0
	for i, d := range s.Spectrum.DensityVoltsPerRootHz {
		if d > s.Spectrum.DensityVoltsPerRootHz[peak] {
			peak = i
		}
	}
	want := amplitude / math.Sqrt2 / math.Sqrt(s.Spectrum.BandwidthHz)
	if got := s.Spectrum.DensityVoltsPerRootHz[peak]; s.Spectrum.FreqHz[peak] != freq || math.Abs(got/want-1) > 0.01 {
		t.Errorf("the peak is %g V/√Hz at %g Hz, want %g at %g", got, s.Spectrum.FreqHz[peak], want, freq)
	}
	if len(s.Beats) != 0 || s.Kind != acquire.KindOther {
		t.Errorf("%d beats in a channel of kind %q, want none", len(s.Beats), s.Kind)
	}

	if s := judged(t, folder, "/recordings/sine.edf/analysis?from=100&to=6000", http.StatusOK); s.From != 100 || s.To != 2560 {
		t.Errorf("within 100 to 6000 the run %d to %d was judged, want 100 to 2560", s.From, s.To)
	}
	judged(t, folder, "/recordings/sine.edf/analysis?channel=1", http.StatusNotFound)
	judged(t, folder, "/recordings/sine.edf/analysis?from=90000", http.StatusBadRequest)
	judged(t, folder, "/recordings/sine.edf/analysis?from=-1", http.StatusBadRequest)
	judged(t, folder, "/recordings/sine.edf/analysis?from=2600&to=5000", http.StatusUnprocessableEntity) // all gap
	judged(t, folder, "/recordings/none.edf/analysis", http.StatusNotFound)
}

// TestAnalysisFindsTheSimulatedRate: the truth is the simulation's.
func TestAnalysisFindsTheSimulatedRate(t *testing.T) {
	folder := t.TempDir()
	const rate, bpm = 250.0, 75.0
	c := simulate.Finger()
	c.RateHz, c.BPM, c.Variation, c.MotionPerMinute = rate, bpm, 0, 0
	counts, g := simulatetest.Run(t, c, 60*rate)
	written(t, folder, "clip.edf", g.Channels()[0], rate, map[int64][]int32{0: counts[0]}, 0)
	s := judged(t, folder, "/recordings/clip.edf/analysis?from=7500&to=15000", http.StatusOK)
	if math.Abs(s.MedianBPM-bpm) > 2 {
		t.Errorf("a median rate of %g bpm, the simulation has %g", s.MedianBPM, bpm)
	}
	// 30 s hold 37 or 38 beats of 0.8 s; those before the stretch are left out.
	if len(s.Beats) < 35 || len(s.Beats) > 39 || s.Beats[0].Foot < 7500 || s.Beats[0].Sample > 7500+int64(1.2*rate) {
		t.Errorf("%d beats, the first at %v: want about 37 from the stretch's start on", len(s.Beats), s.Beats[:min(1, len(s.Beats))])
	}
}
