package library

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/library/recorder/recordertest"
)

// What a download does not hold can be asked before it, and is what the command convert tells.
func TestLostInADownload(t *testing.T) {
	store := NewStore(t.TempDir())
	written(t, store.Folder(), "light.edf", acquire.Channel{Label: "light", Kind: acquire.KindPulse, MaxCount: 100, MinCount: -100}, 250, map[int64][]int32{0: make([]int32, 1000)}, 0)
	if err := store.AddMark("light.edf", recording.Annotation{Sample: 100, Text: "hand moved"}); err != nil {
		t.Fatal(err)
	}
	for as, want := range map[string]string{"csv": "left out, since a CSV file has no place for them: 1 note", "wav": "left out, since a WAV file has no place for them: 1 note", "edf": ""} {
		code, answer := ask(t, store, nil, "GET", "/recordings/"+url.PathEscape("light.edf")+"/file/lost?as="+as, "")
		var out struct{ Lost []string }
		if err := json.Unmarshal(answer, &out); err != nil || code != http.StatusOK || out.Lost == nil {
			t.Fatalf("%s: %d %s", as, code, answer)
		}
		if (len(out.Lost) > 0) != (want != "") || want != "" && !slices.ContainsFunc(out.Lost, func(s string) bool { return strings.Contains(s, want) }) {
			t.Errorf("as %s: %q is lost, want %q", as, out.Lost, want)
		}
	}
	if code, _ := ask(t, store, nil, "GET", "/recordings/light.edf/file/lost?as=txt", ""); code != http.StatusBadRequest {
		t.Errorf("another format is answered with %d", code)
	}
}

// TestLostIsTold: notes, and what changed within a recording by its name; in an archive in a text of its own, where
// something is lost.
func TestLostIsTold(t *testing.T) {
	r, store := begin(t)
	settings := channel.Resolve(channel.Places{Described: recordertest.Channel, RateHz: 250}).Settings
	r.Engines(channel.Start{RateHz: 250, Ratio: 1, Channels: []channel.Settings{settings}})
	recordertest.Feed(r, 0, 500)
	settings.Path.Drift.On, settings.Kind = !settings.Path.Drift.On, acquire.KindECG
	r.Engine(500, channel.Event{Settings: &settings})
	why := "the sampling rate wanders"
	r.Engine(750, channel.Event{Doubt: &why})
	recordertest.Feed(r, 500, 500)
	state, err := r.Keep("lamp clip", 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range []string{"hand moved", "lamp off"} {
		if err := store.AddMark(state.ID, recording.Annotation{Sample: int64(100 * i), Text: text}); err != nil {
			t.Fatal(err)
		}
	}
	written(t, store.Folder(), "quiet.edf", acquire.Channel{Label: "light", MaxCount: 100, MinCount: -100}, 250, map[int64][]int32{0: make([]int32, 1000)}, 0)
	list, err := store.Lost(context.Background(), state.ID, "csv")
	lost := strings.Join(list, "\n")
	for _, want := range []string{"place for them: 2 notes", `kind of "` + settings.Label + `" (from 2 s on)`, `path of "` + settings.Label + `" (from 2 s on)`, "doubt of the clock (from 3 s on)"} {
		if err != nil || !strings.Contains(lost, want) {
			t.Errorf("%v, told %q, want %q", err, lost, want)
		}
	}
	if strings.Contains(lost, "volts of") {
		t.Errorf("volts did not change: %q", lost)
	}
	for as, want := range map[string]bool{"csv": true, "wav": true, "edf": false, "": false} {
		var b bytes.Buffer
		if err := store.Archive(context.Background(), &b, []string{"quiet.edf", state.ID}, as); err != nil {
			t.Fatal(err)
		}
		z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
		if err != nil {
			t.Fatal(err)
		}
		text, _ := fs.ReadFile(z, lostName)
		if (len(z.File) == 3) != want || want != strings.Contains(string(text), state.ID+":\n- left out") || strings.Contains(string(text), "quiet") {
			t.Errorf("as %q: %d files, told %q", as, len(z.File), text)
		}
	}
}
