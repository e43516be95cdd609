package channel_test

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
)

// TestOldRecordingsKeepTheirRule: a recording is computed with the longest bridged hole that it was
// streamed with: what it carries, 50 ms where it carries none, and today's when it is not ours.
func TestOldRecordingsKeepTheirRule(t *testing.T) {
	settings := channel.Resolve(channel.Places{Described: finger, RateHz: 250}).Settings
	now := channel.NewCarried(channel.Start{RateHz: 250, Ratio: 1, Channels: []channel.Settings{settings}})
	old := now
	old.BridgeSeconds = 0
	for i, c := range []struct {
		carried any
		want    float64
	}{{now, 0.1}, {old, 0.05}, {nil, 0}} {
		path := filepath.Join(t.TempDir(), "a.edf")
		w, err := recording.Create(path, recording.Header{Info: acquire.Info{ClaimedRateHz: 250, Channels: []acquire.Channel{finger}}, Settings: c.carried, NoSync: true})
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Write([][]int32{make([]int32, 500)}, 0); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		f, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if got := channel.Open(f, channel.Sidecar{}).Start.BridgeSeconds; got != c.want {
			text, _ := json.Marshal(c.carried)
			t.Errorf("%d: %g s are bridged, want %g: %s", i, got, c.want, text)
		}
	}
}

// A mid-rail outside of the rails, which was once taken, leaves the rest of the scale as it was said.
func TestOldScaleKeepsItsVolts(t *testing.T) {
	mid, high := 165.0, 3.3
	said := channel.Scale{Source: channel.ScaleConverter, ReferenceVolts: 3.3, Bits: 12, Gain: 100, SupplyHighVolts: &high, MidRailVolts: &mid}
	r := channel.Resolve(channel.Places{Described: finger, Recorded: channel.Said{Scale: &said}, RateHz: 250})
	if r.Scale.Bits != 12 || r.Scale.Gain != 100 || r.Scale.SupplyHighVolts == nil || r.Scale.MidRailVolts != nil {
		t.Errorf("%+v", r.Scale)
	}
}
