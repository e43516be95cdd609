package server

import (
	"context"
	"encoding/json"
	"math"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/variability"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
	"pulsewright/server/session"
)

// fast serves a demo at 40 times its speed, so that five minutes take eight seconds.
func fast(t *testing.T, address string) *httptest.Server {
	t.Helper()
	intervals := NewIntervals()
	live := session.New(session.Config{Openers: acquire.Openers{"demo": simulate.Open}, Hub: hub.New(256), Taps: []session.Tap{intervals}})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = live.Run(ctx) }()
	if err := live.Open(ctx, address); err != nil {
		t.Fatal(err)
	}
	s := New(Config{Session: live, Intervals: intervals, Page: fstest.MapFS{"index.html": {Data: []byte("<!doctype html>")}}, Sources: func(context.Context) Choices { return Choices{} }})
	h := httptest.NewServer(s.Handler())
	t.Cleanup(func() { s.cancel(); h.Close(); cancel(); <-done })
	return h
}

func lookAt(t *testing.T, h *httptest.Server, path string) (out Variability) {
	t.Helper()
	status, body := request(t, h, "GET", path, "", nil)
	if status != 200 {
		t.Fatalf("%s: status %d: %s", path, status, body)
	}
	if err := json.Unmarshal([]byte(body), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// truth gives the measures of the simulation's own beats from one sample to another.
func truth(t *testing.T, address string, channel int, from, to int64) variability.Report {
	t.Helper()
	_, g := simulatetest.Demo(t, address, to+500)
	config := g.Config()
	var intervals []variability.Interval
	beats := g.Truth().Beats[channel]
	for i := 1; i < len(beats); i++ {
		if beats[i].Sample >= from-10 && beats[i].Sample <= to+10 {
			intervals = append(intervals, variability.Interval{Seconds: float64(beats[i].Foot-beats[i-1].Foot) / config.RateHz, Mark: variability.Normal, Quality: 1})
		}
	}
	return variability.Of(beat.Kind(config.Channels[channel].Kind), intervals, 0)
}

// TestVariabilityOfADemo: an ECG and a pulse of one heart, each with its own truth.
func TestVariabilityOfADemo(t *testing.T) {
	const address = "demo:both?speed=40&motion=0&bpm=70&variation=0.04&breath=15&transit=0.2"
	h := fast(t, address)
	deadline := time.Now().Add(60 * time.Second)
	var ecg, pulse Variability
	for time.Now().Before(deadline) {
		time.Sleep(time.Second)
		if status, _ := request(t, h, "GET", "/api/v1/channels/0/variability", "", nil); status != 200 {
			continue
		}
		ecg, pulse = lookAt(t, h, "/api/v1/channels/0/variability?window=5m"), lookAt(t, h, "/api/v1/channels/1/variability")
		if ecg.Report.SpanSeconds >= 300 && pulse.Report.SpanSeconds >= 300 {
			break
		}
		for _, m := range ecg.Report.Measures {
			if m.ID == "hf" && (m.Value != nil || m.Absent == "") {
				t.Fatalf("after %g s: %+v", ecg.Report.SpanSeconds, m)
			}
		}
	}
	// What the simulation did in the very stretch that was looked at.
	for channel, v := range []Variability{ecg, pulse} {
		want := truth(t, address, channel, v.Intervals[0].Sample, v.Intervals[len(v.Intervals)-1].Sample)
		for id, tolerance := range map[string]float64{"meanNN": 0.001, "sdnn": 0.05, "rmssd": 0.08, "lf": 0.08, "hf": 0.15} {
			if got := v.Report.Value(id); !(math.Abs(got/want.Value(id)-1) <= tolerance) {
				t.Errorf("%s: %s %g, the simulation's beats give %g", v.Label, id, got, want.Value(id))
			}
		}
		if v.Report.LeftOutShare > 0.02 {
			t.Errorf("%s: %.1f %% left out of a heart without extra beats", v.Label, 100*v.Report.LeftOutShare)
		}
	}
	// The two see the same heart.
	for _, id := range []string{"meanNN", "sdnn", "rmssd", "hf"} {
		if a, b := ecg.Report.Value(id), pulse.Report.Value(id); !(math.Abs(a/b-1) < 0.25) {
			t.Errorf("%s: %g by the ECG, %g by the pulse", id, a, b)
		}
	}
	if ecg.Report.Name != "heart rate variability" || pulse.Report.Name != "pulse rate variability" {
		t.Errorf("names %q and %q", ecg.Report.Name, pulse.Report.Name)
	}
	// The simulated pulse starts 0.2 s after R; its tangents (Tang et al. 2020's two
	// Gaussians at 70 per minute, worked out by numpy) meet 0.057 s later, and the
	// trimmer's pole at 30 Hz delays by 1/(2π·30 Hz) = 0.005 s. The detector takes drift
	// off before it lays the tangent, which moves the foot by some 10 ms.
	if ecg.Arrival == nil || ecg.Arrival.MedianSeconds == nil || math.Abs(*ecg.Arrival.MedianSeconds-0.262) > 0.02 || ecg.Arrival.ECG != 0 || ecg.Arrival.Pulse != 1 || pulse.Arrival == nil || pulse.Arrival.ECG != 0 {
		text, _ := json.Marshal(ecg.Arrival)
		t.Errorf("arrival %s, want 0.262 s", text)
	}
	for name, v := range map[string]Variability{"ecg": ecg, "pulse": pulse} {
		if b := v.Breathing; b.PerMinute == nil || math.Abs(*b.PerMinute-15) > 1 {
			t.Errorf("%s: breathing %+v, the simulation's 15 per minute", name, b)
		}
		last := v.Intervals[len(v.Intervals)-1]
		if len(v.Intervals) < 300 || last.Sample < 300*250 || v.Epoch == 0 || v.SinceSeconds < 0 {
			t.Errorf("%s: %d intervals, the last %+v, epoch %d", name, len(v.Intervals), last, v.Epoch)
		}
	}
}

func TestVariabilityRequests(t *testing.T) {
	h := fast(t, "demo:finger")
	for path, want := range map[string]int{
		"/api/v1/channels/0/variability":             200,
		"/api/v1/channels/0/variability?window=all":  200,
		"/api/v1/channels/0/variability?window=90s":  200,
		"/api/v1/channels/7/variability":             404,
		"/api/v1/channels/x/variability":             404,
		"/api/v1/channels/0/variability?window=1s":   400,
		"/api/v1/channels/0/variability?window=2h":   400,
		"/api/v1/channels/0/variability?window=five": 400,
	} {
		if status, body := request(t, h, "GET", path, "", nil); status != want || status >= 400 && !strings.Contains(body, `"error"`) {
			t.Errorf("%s: status %d, want %d: %s", path, status, want, body)
		}
	}
	if status, body := request(t, h, "PUT", "/api/v1/channels/0/kind", `{"kind":"other"}`, map[string]string{"Content-Type": "application/json"}); status != 200 {
		t.Fatalf("status %d: %s", status, body)
	}
	if status, body := request(t, h, "GET", "/api/v1/channels/0/variability", "", nil); status != 409 || !strings.Contains(body, "not read for beats") {
		t.Errorf("a channel of another kind: status %d: %s", status, body)
	}
}

// TestIntervalsOfAGap: what lies between a gap or a restart is no interval, decimated
// indices come back as the page's.
func TestIntervalsOfAGap(t *testing.T) {
	v := NewIntervals()
	info := acquire.Info{Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindECG}}}
	v.Begin(3, info, 8000, time.Time{})
	v.Settings([]session.ChannelState{{Label: "a", Kind: acquire.KindECG}})
	v.Samples(0, [][]int32{{1, acquire.MissingCount, 3}})
	for i := range 12 {
		switch i {
		case 5:
			v.Gap(0, 1, "lost")
		case 8:
			v.Restarted(0)
		}
		v.Beats(0, []beat.Beat{{Sample: int64(800 * i), Foot: int64(800 * i), Quality: 1}}, 8)
	}
	out, err := v.Look(0, 300)
	if err != nil {
		t.Fatal(err)
	}
	for i, iv := range out.Intervals {
		want := variability.Normal
		if i == 4 || i == 7 {
			want = variability.Gap
		}
		if iv.Mark != want || iv.Sample != int64(800*(i+1)) || iv.Seconds != 0.8 {
			t.Errorf("interval %d: %+v, want %s", i, iv, want)
		}
	}
	if out.Epoch != 3 || len(out.Intervals) != 11 || out.Report.Gaps != 2 || out.Report.TimingSeconds != 0.001 {
		t.Errorf("%+v", out)
	}
}

// TestBeatsOfADecimatedSource: beats come in points, the intervals count the source's
// samples: feet 1000 points of eight samples apart at 8 kHz are a second apart.
func TestBeatsOfADecimatedSource(t *testing.T) {
	v := NewIntervals()
	v.Begin(1, acquire.Info{Channels: []acquire.Channel{{Label: "pulse"}}}, 8000, time.Time{})
	v.Settings([]session.ChannelState{{Label: "pulse", Kind: acquire.KindPulse}})
	for i := range int64(20) {
		v.Beats(0, []beat.Beat{{Kind: beat.Pulse, Foot: 500 + 1000*i, Sample: 650 + 1000*i + 10*(i%2), Quality: 1, Amplitude: 1}}, 8)
	}
	got, err := v.Look(0, 0)
	if err != nil || len(got.Intervals) != 19 {
		t.Fatalf("%d intervals, %v; want 19", len(got.Intervals), err)
	}
	for _, iv := range got.Intervals {
		if iv.Seconds != 1 || iv.Mark != variability.Normal {
			t.Errorf("%+v, want a normal second", iv)
		}
	}
	if first := got.Intervals[0]; first.Sample != 1660 || got.Report.TimingSeconds != 0.001 {
		t.Errorf("the first ends at point %d, beats are timed to %g s; want 1660 and 0.001 s", first.Sample, got.Report.TimingSeconds)
	}
}

// Live as from a recording: while the clock is in doubt no interval is normal, from the start on too.
func TestIntervalsWhileTheClockIsInDoubt(t *testing.T) {
	v, why, sure := NewIntervals(), "the rate wanders", ""
	v.Begin(1, acquire.Info{Channels: []acquire.Channel{{Label: "lead"}}}, 250, time.Now())
	v.Engines(channel.Start{Doubt: why})
	var state session.ChannelState
	state.Kind = acquire.KindECG
	v.Settings([]session.ChannelState{state})
	for second := range 120 {
		switch second {
		case 20, 80:
			v.Engine(int64(250*second), channel.Event{Doubt: &sure})
		case 60:
			v.Engine(int64(250*second), channel.Event{Doubt: &why})
		}
		v.Beats(0, []beat.Beat{{Sample: int64(250 * second), Quality: 1, Amplitude: 1}}, 1)
	}
	out, err := v.Look(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, iv := range out.Intervals {
		doubted := iv.AtSeconds <= 20 || iv.AtSeconds > 55 && iv.AtSeconds <= 80
		if doubted == (iv.Mark == variability.Normal) {
			t.Errorf("the interval to %g s is %s", iv.AtSeconds, iv.Mark)
		}
	}
}
