package library

import (
	"encoding/json"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/dsp/variability"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/library/recorder"
)

// Where a recording's clock was in doubt, so that no rate was shown, none of its intervals is normal.
func TestIntervalsOfADoubtfulClock(t *testing.T) {
	config := simulate.Chest()
	config.RateHz, config.MotionPerMinute = 250, 0
	counts, g := simulatetest.Run(t, config, 120*250)
	folder := t.TempDir()
	r := recorder.New(recorder.Config{Folder: folder})
	t.Cleanup(func() { r.Close() })
	c := g.Channels()[0]
	info := acquire.Info{Address: "serial:x", Name: "board", Channels: []acquire.Channel{c}}
	r.Begin(1, info, 250, time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC))
	r.Engines(channel.Start{RateHz: 250, Ratio: 1, HumHz: []float64{0}, Channels: []channel.Settings{channel.Resolve(channel.Places{Described: c, RateHz: 250}).Settings}})
	why, sure := "the sampling rate wanders", ""
	for at := 0; at < 120*250; at += 50 {
		switch at {
		case 40 * 250:
			r.Engine(int64(at), channel.Event{Doubt: &why})
		case 80 * 250:
			r.Engine(int64(at), channel.Event{Doubt: &sure})
		}
		r.Samples(int64(at), [][]int32{counts[0][at : at+50]})
	}
	state, err := r.Keep("wanders", 3)
	if err != nil {
		t.Fatal(err)
	}
	w := reviewed(t, folder, "/recordings/"+url.PathEscape(filepath.Base(state.ID))+"/variability")
	var out analysis.Intervals
	if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil || len(out.Intervals) < 100 {
		t.Fatalf("%v: %.200s", err, w.Body)
	}
	n := map[variability.Mark]int{}
	for _, iv := range out.Intervals {
		doubted := iv.AtSeconds > 35 && iv.AtSeconds-iv.Seconds < 80
		if n[iv.Mark]++; doubted && iv.Mark == variability.Normal {
			t.Errorf("the interval to %g s is normal", iv.AtSeconds)
		}
	}
	if n[variability.Normal] < 50 {
		t.Errorf("marks %v", n)
	}
}
