package session

import (
	"math"
	"slices"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
)

// TestWhyTellsOfEveryBeat: the last word about each sample is "taken" for the beats
// that came out and for nothing else; each has a reason.
func TestWhyTellsOfEveryBeat(t *testing.T) {
	restless := simulate.Finger()
	restless.MotionPerMinute = 30
	restless.Channels = slices.Clone(restless.Channels)
	restless.Channels[0].MotionVolts = 6 // into the rails, where beats are held back
	for name, config := range map[string]simulate.Config{"finger": simulate.Finger(), "chest": simulate.Chest(), "restless": restless} {
		t.Run(name, func(t *testing.T) {
			g, err := simulate.New(config)
			if err != nil {
				t.Fatal(err)
			}
			info := g.Channels()[0]
			const begin = 1000 // as after a gap
			settings := channel.Resolve(channel.Places{Described: info, RateHz: config.RateHz}).Settings
			e, err := channel.New(channel.Config{Described: info, Settings: settings, RateHz: config.RateHz, First: begin, Parts: channel.All})
			if err != nil {
				t.Fatal(err)
			}
			counts := [][]int32{make([]int32, 50)}
			found := map[int64]bool{}
			var out channel.Output
			for range int(90 * config.RateHz / 50) {
				g.Next(counts)
				out.Clear()
				e.Process(&out, counts[0])
				for _, b := range out.Beats {
					found[b.Sample] = true
				}
			}
			last := map[int64]beat.Candidate{}
			for _, q := range e.Why() {
				if q.Reason == "" {
					t.Errorf("sample %d: no reason", q.Sample)
				}
				last[q.Sample] = q
			}
			refused := 0
			for at, q := range last {
				if q.Taken != found[at] {
					t.Errorf("sample %d: told %v (%s), came out %v", at, q.Taken, q.Reason, found[at])
				}
				if !q.Taken {
					refused++
				}
			}
			for at := range found {
				if _, ok := last[at]; !ok {
					t.Errorf("beat at %d is not explained", at)
				}
			}
			t.Logf("%d beats, %d places refused", len(found), refused)
			if refused == 0 {
				t.Error("nothing was refused: the test says nothing about refusals")
			}
			if name != "restless" && len(found) < 90 {
				t.Errorf("%d beats in 90 s, want at least 90", len(found))
			}
		})
	}
}

// TestPastIsRescaled: a scale told while samples are remembered holds for them too.
// 10 bits over 5 V: count 512 is 2.5 V (ATmega328P data sheet, "ADC conversion result").
func TestPastIsRescaled(t *testing.T) {
	source := newScript(acquire.Info{Name: "x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindPulse, MaxCount: 1023}}})
	s := start(t, nil, source)
	counts := make([]int32, 500)
	for i := range counts {
		counts[i] = 512
	}
	source.blocks <- acquire.Block{Arrived: time.Now(), Counts: [][]int32{counts}}
	recent := func() ([]float64, string) {
		values, _, unit, err := s.Recent(0, 0, 1)
		if err != nil {
			t.Fatal(err)
		}
		return values, unit
	}
	for deadline := time.Now().Add(10 * time.Second); s.State().LastIndex < 499; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the samples do not come")
		}
	}
	if values, unit := recent(); unit != "counts" || values[len(values)-1] != 512 {
		t.Fatalf("before: %v %s, want 512 counts", values[len(values)-1], unit)
	}
	err := s.SetScale(t.Context(), 0, channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 1})
	if err != nil {
		t.Fatal(err)
	}
	values, unit := recent()
	for i, v := range values {
		if unit != "V" || math.Abs(v-2.5) > 1e-6 {
			t.Fatalf("sample %d of %d is %g %s, want 2.5 V", i, len(values), v, unit)
		}
	}
	// Back and with a gain of 10: 0.25 V at the sensor.
	if err := s.SetScale(t.Context(), 0, channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 10}); err != nil {
		t.Fatal(err)
	}
	if values, _ := recent(); math.Abs(values[0]-0.25) > 1e-6 {
		t.Errorf("with a gain of 10 the past is %g V, want 0.25 V", values[0])
	}
}

// TestPresetComesBack: a preset asked for again undoes what was set since.
func TestPresetComesBack(t *testing.T) {
	source := newScript(acquire.Info{Name: "x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindECG, MaxCount: 1023}}})
	s := start(t, nil, source)
	want := signalpath.Preset(acquire.KindECG, 250)
	changed := want
	changed.Drift.CutoffHz = 2
	if _, err := s.SetPath(t.Context(), 0, changed); err != nil {
		t.Fatal(err)
	}
	if err := s.SetKind(t.Context(), 0, acquire.KindECG); err != nil {
		t.Fatal(err)
	}
	if got := s.State().Channels[0].Path; got.Drift.CutoffHz != 2 {
		t.Errorf("the same kind chosen again set drift to %g Hz, want the 2 Hz somebody set", got.Drift.CutoffHz)
	}
	if err := s.SetPreset(t.Context(), 0, acquire.KindECG); err != nil {
		t.Fatal(err)
	}
	if got := s.State().Channels[0].Path; got.Drift != want.Drift {
		t.Errorf("the preset gave drift %+v, want %+v", got.Drift, want.Drift)
	}
}
