//go:build !windows

package command

import (
	"encoding/json"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/server/session"
)

// TestReplayHasItsNotes: in a replay the notes of the recording, and those made on it afterwards, are notes at their
// samples, a line of the board is a line of the board; slow motion and skipping gaps can be set.
func TestReplayHasItsNotes(t *testing.T) {
	folder := t.TempDir()
	plain, path := filepath.Join(folder, "plain.edf"), filepath.Join(folder, "walk.edf")
	c := simulate.Finger()
	simulatetest.Record(t, c, int64(20*c.RateHz), plain)
	f, err := recording.Open(plain)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := recording.ExportEDF(path, f, recording.ExportOptions{Notes: []recording.Annotation{{Sample: 1000, Text: "trimmer turned"}, {Sample: 1500, Text: "board: lamp on"}}}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, ".marks.json"), []byte(`{"walk.edf": [{"sample": 2000, "text": "made afterwards"}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	address := program(t, "file:"+path+"?speed=100&hold=1")
	want := []session.Note{{Index: 1000, Text: "trimmer turned"}, {Index: 2000, Text: "made afterwards"}}
	var state session.State
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		answer, err := http.Get(address + "/api/v1/state")
		if err != nil {
			t.Fatal(err)
		}
		err = json.NewDecoder(answer.Body).Decode(&state)
		answer.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		if len(state.Notes) >= 2 && slices.ContainsFunc(state.Text, func(s string) bool { return strings.Contains(s, "ended") }) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("notes %v, text %q", state.Notes, state.Text)
		}
	}
	if !slices.Equal(state.Notes, want) || !slices.Equal(state.Text, []string{"lamp on", "the recording has ended"}) {
		t.Errorf("notes %v, want %v; text %q", state.Notes, want, state.Text)
	}
	var p session.Playback
	asks(t, "PUT", address+"/api/v1/playback", `{"speed": 0.1, "skipGaps": true, "position": 500}`, &p)
	if p.Speed != 0.1 || !p.SkipGaps || p.Position < 500 || p.Gaps != 0 {
		t.Errorf("%+v", p)
	}
}

// TestPageReplaysSlowlyAndSkipsGaps: the replay's bar has slow motion and, for a recording with gaps, passes them; the
// recording's note stands on the trace.
func TestPageReplaysSlowlyAndSkipsGaps(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	c := simulate.Finger()
	counts, g := simulatetest.Run(t, c, int64(20*c.RateHz))
	path := filepath.Join(t.TempDir(), "gap.edf")
	w, err := recording.Create(path, recording.Header{Info: acquire.Info{ClaimedRateHz: c.RateHz, Channels: g.Channels()}, NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	half := int64(len(counts[0])) / 2
	hole := int64(3600 * c.RateHz)
	err = errors.Join(w.Write([][]int32{counts[0][:half]}, 0), w.Gap(half, hole, "unplugged"), w.Write([][]int32{counts[0][half:]}, half+hole), w.Annotate(500, 0, "clip on"), w.Close())
	if err != nil {
		t.Fatal(err)
	}
	address := program(t, "file:"+path+"?hold=1&speed=5")
	open(t, ctx, address)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]')`)
	soon(t, ctx, "the bar", `at("playback-skip") && !at("playback-skip").closest("label").hidden`, 10*time.Second)
	script(t, ctx, `at("playback-skip").click()`)
	soon(t, ctx, "the part behind an hour's gap", `/^1:00:1\d of 1:00:20/.test(at("playback-time").textContent)`, 20*time.Second)
	if n := look[int](t, ctx, statsNow+".notes"); n != 1 {
		t.Errorf("%d notes on the trace, want the recording's own", n)
	}
	script(t, ctx, `((e) => { e.value = "0.1"; e.dispatchEvent(new Event("change")); })(at("playback-speed"))`)
	soon(t, ctx, "slow motion", `(fetch("/api/v1/state").then((r) => r.json()).then((s) => (window.now = s.playback)), window.now?.speed === 0.1 && window.now.skipGaps)`, 10*time.Second)
	everyScreen(t, ctx, "html")
}
