package library

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
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
	counts, g := simulatetest.Run(t, config, length)
	written(t, folder, "chest.edf", g.Channels()[0], rate, map[int64][]int32{0: counts[0][:lostFrom], lostTo: counts[0][lostTo:]}, 0, lostTo)
	written(t, folder, "other.edf", acquire.Channel{Label: "light", Kind: acquire.KindOther, MaxCount: 100, MinCount: -100}, rate, map[int64][]int32{0: make([]int32, 1000)}, 0)

	ask := func(request string, status int) (out analysis.Intervals) {
		t.Helper()
		w := reviewed(t, folder, request)
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

// TestArrivalInARecording: the time from R peak to foot that the simulation has, and
// intervals that do not depend on where the stretch begins.
func TestArrivalInARecording(t *testing.T) {
	folder := t.TempDir()
	const rate = 250.0
	const length = 150 * 250
	config := simulate.Both()
	config.RateHz, config.MotionPerMinute = rate, 0
	simulatetest.Record(t, config, length, filepath.Join(folder, "both.edf"))
	// The simulated pulse starts 0.2 s after R; its tangents (Tang et al. 2020's two
	// Gaussians at 70 per minute, worked out by numpy) meet 0.057 s later, and the
	// trimmer's pole at 30 Hz delays by 1/(2π·30 Hz) = 0.005 s.
	const want = 0.262

	get := func(request string) (body []byte) {
		t.Helper()
		w := reviewed(t, folder, request)
		if w.Code != http.StatusOK {
			t.Fatalf("%s: status %d: %s", request, w.Code, w.Body)
		}
		return w.Body.Bytes()
	}
	ask := func(request string) (out analysis.Intervals) {
		t.Helper()
		if err := json.Unmarshal(get(request), &out); err != nil {
			t.Fatal(err)
		}
		return out
	}
	fromECG, fromPulse := ask("/recordings/both.edf/variability"), ask("/recordings/both.edf/variability?channel=1")
	for _, got := range []analysis.Intervals{fromECG, fromPulse} {
		if got.Arrival == nil || got.Arrival.ECGLabel != "ecg" || got.Arrival.PulseLabel != "pulse" || len(got.Arrival.At) != 10 {
			t.Fatalf("arrival %+v; want every 15 s of 150 s", got.Arrival)
		}
		for _, a := range got.Arrival.At[1:] {
			if a.MedianSeconds == nil || math.Abs(*a.MedianSeconds-want) > 0.02 {
				t.Errorf("at %g s: %+v; want %g s", a.AtSeconds, a.Arrival, want)
			}
		}
	}
	// The detector has settled when the stretch begins: nothing is missing in it.
	part := ask("/recordings/both.edf/variability?from=10000&to=25000")
	var whole []variability.Interval
	for _, iv := range fromECG.Intervals {
		if iv.Sample >= 10000 && iv.Sample < 25000 {
			whole = append(whole, iv)
		}
	}
	if n := len(part.Intervals); n < 60 || len(whole)-n > 1 || part.Intervals[n-1].Sample != whole[len(whole)-1].Sample || part.Intervals[0].Sample != whole[len(whole)-n].Sample {
		t.Errorf("%d intervals in the stretch, %d of the whole lie there", n, len(whole))
	}

	// Beats: those between, and the same in the compact form.
	var all, some struct{ Channels [][]Mark }
	if err := errors.Join(json.Unmarshal(get("/recordings/both.edf/beats?find=0"), &all), json.Unmarshal(get("/recordings/both.edf/beats?find=0&from=5000&to=20000"), &some)); err != nil {
		t.Fatal(err)
	}
	var want2 []Mark
	for _, m := range all.Channels[0] {
		if m.Sample >= 5000 && m.Sample < 20000 {
			want2 = append(want2, m)
		}
	}
	if len(want2) < 60 || !slices.Equal(want2, some.Channels[0]) || len(some.Channels[1]) != 0 {
		t.Errorf("from 5000 to 20000: %d beats, %d of all lie there", len(some.Channels[0]), len(want2))
	}
	b := get("/recordings/both.edf/beats?find=0&from=5000&to=20000&as=compact")
	n := len(want2)
	if len(b) != 4+4+10*n+4+4 || binary.LittleEndian.Uint32(b) != 2 || binary.LittleEndian.Uint32(b[4:]) != uint32(n) {
		t.Fatalf("compact: %d bytes, head % x; %d beats", len(b), b[:8], n)
	}
	for i, m := range want2 {
		if x := math.Float64frombits(binary.LittleEndian.Uint64(b[8+8*i:])); x != float64(m.Sample) || b[8+8*n+i] != byte(math.Round(100*m.Quality)) || b[8+9*n+i] != 1 {
			t.Fatalf("compact beat %d: %g, quality %d, kind %d; want %+v", i, x, b[8+8*n+i], b[8+9*n+i], m)
		}
	}
}

// TestFindingTellsHowFar: what is answered with progress is the same behind lines that tell how
// far the work is, an error comes as such a line, and the work ends when nobody waits for it.
func TestFindingTellsHowFar(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no long recording")
	}
	folder := t.TempDir()
	config := simulate.Both()
	simulatetest.Record(t, config, 1200*250, filepath.Join(folder, "both.edf"))
	for _, target := range []string{"/recordings/both.edf/beats?find=0&as=compact", "/recordings/both.edf/variability?channel=1"} {
		plain, told := reviewed(t, folder, target).Body.Bytes(), reviewed(t, folder, target+"&progress=1").Body.Bytes()
		for last := 0.0; last < 1; {
			line, rest, _ := bytes.Cut(told, []byte("\n"))
			var p struct{ Share *float64 }
			if err := json.Unmarshal(line, &p); err != nil || p.Share == nil || *p.Share < last || *p.Share > 1 {
				t.Fatalf("%s: %q after %g: %v", target, line, last, err)
			}
			last, told = *p.Share, rest
		}
		if len(plain) < 100 || !bytes.Equal(bytes.TrimSpace(told), bytes.TrimSpace(plain)) {
			t.Errorf("%s: with progress %d bytes, without %d", target, len(told), len(plain))
		}
	}
	if w := reviewed(t, folder, "/recordings/none.edf/beats?find=0&progress=1"); !strings.Contains(w.Body.String(), `{"error":"recording \"none.edf\"`) {
		t.Errorf("of none: %s", w.Body)
	}

	reviews := NewReviews(NewStore(folder))
	defer reviews.Close()
	ctx, cancel := context.WithCancel(t.Context())
	last := 0.0
	_, err := reviews.Beats(ctx, "both.edf", BeatQuery{Find: 0, To: math.MaxInt64, Progress: func(share float64) {
		last = share
		if share > 0.2 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) || last < 0.2 || last > 0.9 {
		t.Errorf("cancelled at a fifth, it ended at %g with %v", last, err)
	}
}
