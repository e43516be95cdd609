package library

import (
	"encoding/json"
	"math"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/go-chi/chi/v5"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/variability"
	"pulsewright/server/analysis"
)

// TestVariabilityOfARecording: seven minutes of a simulated ECG, half a minute of them
// lost, give the measures of the simulation's own beats beside the gap.
func TestVariabilityOfARecording(t *testing.T) {
	folder := t.TempDir()
	const rate = 250.0
	const lostFrom, lostTo, length = 200 * 250, 230 * 250, 420 * 250
	config := simulate.Chest()
	config.RateHz, config.MotionPerMinute, config.BreathsPerMinute = rate, 0, 13
	g, err := simulate.New(config)
	if err != nil {
		t.Fatal(err)
	}
	counts := make([]int32, length)
	g.Next([][]int32{counts})
	c := g.Channels()[0]
	written(t, folder, "chest.edf", c, rate, map[int64][]int32{0: counts[:lostFrom], lostTo: counts[lostTo:]}, 0, lostTo)
	written(t, folder, "other.edf", acquire.Channel{Label: "light", Kind: acquire.KindOther, MaxCount: 100, MinCount: -100}, rate, map[int64][]int32{0: make([]int32, 1000)}, 0)

	rs := NewReviews(NewStore(folder))
	defer rs.Close()
	r := chi.NewRouter()
	ReviewRoutes(rs)(r)
	ask := func(request string, status int) (out analysis.Intervals) {
		t.Helper()
		w := httptest.NewRecorder()
		r.ServeHTTP(w, httptest.NewRequest("GET", request, nil))
		if w.Code != status {
			t.Fatalf("%s: status %d, want %d: %s", request, w.Code, status, w.Body)
		}
		if status == http.StatusOK {
			if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil {
				t.Fatal(err)
			}
		}
		return out
	}
	got := ask("/recordings/chest.edf/variability", http.StatusOK)
	var truth []variability.Interval
	found := map[int64]bool{}
	for _, iv := range got.Intervals {
		for d := int64(-3); d <= 3; d++ {
			found[iv.Sample+d] = iv.Mark == variability.Normal
		}
	}
	beats := g.Truth().Beats[0]
	for i := 1; i < len(beats); i++ {
		iv := variability.Interval{Seconds: float64(beats[i].Sample-beats[i-1].Sample) / rate, Mark: variability.Normal, Quality: 1}
		if beats[i].Sample > lostFrom && beats[i-1].Sample < lostTo {
			iv.Mark = variability.Gap
		}
		// The first beats of each part are not found.
		if iv.Mark == variability.Normal && !found[beats[i].Sample] {
			if at := float64(beats[i].Sample%lostTo) / rate; at > 6 && beats[i].Sample < length-250 {
				t.Errorf("no interval ends at the beat at sample %d", beats[i].Sample)
			}
			iv.Mark = variability.Unsure
		}
		truth = append(truth, iv)
	}
	want := variability.Of(beat.ECG, truth, 0)
	for id, tolerance := range map[string]float64{"meanNN": 0.001, "sdnn": 0.03, "rmssd": 0.05} {
		if x := got.Report.Value(id); !(math.Abs(x/want.Value(id)-1) <= tolerance) {
			t.Errorf("%s %g, the simulation's beats give %g", id, x, want.Value(id))
		}
	}
	if got.Report.Gaps < 1 || got.Kind != "ecg" || got.RateHz != rate {
		t.Errorf("%d gaps, kind %s, %g Hz", got.Report.Gaps, got.Kind, got.RateHz)
	}
	told := 0
	for i, b := range got.Breathing {
		if at := 15 * float64(i+1); b.AtSeconds < at || b.AtSeconds > at+1 {
			t.Errorf("breathing rate %d is of %g s, want one every 15 s", i, b.AtSeconds)
		}
		if b.PerMinute == nil {
			continue
		}
		told++
		if math.Abs(*b.PerMinute-13) > 1 {
			t.Errorf("%g breaths per minute at %g s, the simulation's 13", *b.PerMinute, b.AtSeconds)
		}
	}
	if told < 8 {
		t.Errorf("breathing told in %d of %d places", told, len(got.Breathing))
	}

	part := ask("/recordings/chest.edf/variability?from=10000&to=40000", http.StatusOK)
	if s := part.Report.SpanSeconds; s < 110 || s > 120 || part.Intervals[0].Sample < 10000 || !math.IsNaN(part.Report.Value("sdnn")) || math.IsNaN(part.Report.Value("rmssd")) {
		t.Errorf("two minutes: %+v", part.Report)
	}
	ask("/recordings/chest.edf/variability?channel=1", http.StatusNotFound)
	ask("/recordings/chest.edf/variability?from=900000", http.StatusBadRequest)
	ask("/recordings/none.edf/variability", http.StatusNotFound)
	ask("/recordings/other.edf/variability", http.StatusUnprocessableEntity)
}
