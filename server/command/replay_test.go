//go:build !windows

package command

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

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
	r, err := http.NewRequest("PUT", address+"/api/v1/playback", strings.NewReader(`{"speed": 0.1, "skipGaps": true, "position": 500}`))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	var p session.Playback
	if err := json.NewDecoder(answer.Body).Decode(&p); err != nil || p.Speed != 0.1 || !p.SkipGaps || p.Position < 500 || p.Gaps != 0 {
		t.Errorf("%+v, %v", p, err)
	}
}
