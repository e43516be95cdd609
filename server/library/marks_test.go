package library

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/library/recorder/recordertest"
)

// TestNotesFollowIntoTheTrash: what was noted of a recording goes with it into the
// trash and comes back with it; another recording of that name has none of it.
func TestNotesFollowIntoTheTrash(t *testing.T) {
	store := NewStore(t.TempDir())
	const file = "time_s,pulse [V]\n0,1\n0.01,2\n0.02,3\n0.03,2\n"
	bring := func(note string) {
		t.Helper()
		entry, err := store.Add("walk.csv", strings.NewReader(file), Reading{})
		if err != nil || entry.ID != "walk.csv" || entry.Note != "" || len(store.Marks("walk.csv")) != 0 {
			t.Fatalf("brought %+v with notes %v, %v; want walk.csv without any", entry, store.Marks("walk.csv"), err)
		}
		if err := errors.Join(store.SetNote("walk.csv", note), store.AddMark("walk.csv", recording.Annotation{Sample: 2, Text: note})); err != nil {
			t.Fatal(err)
		}
	}
	expect := func(id, note string) {
		t.Helper()
		entry, err := store.Get(id)
		if marks := store.Marks(id); err != nil || entry.Note != note || len(marks) != 1 || marks[0].Text != note {
			t.Errorf("%s has the remark %q and notes %v, %v; want %q", id, entry.Note, marks, err, note)
		}
	}
	for _, note := range []string{"one", "two"} {
		bring(note)
		if err := store.Trash("walk.csv"); err != nil {
			t.Fatal(err)
		}
	}
	bring("three")
	for trashed, note := range map[string]string{"walk.csv": "two", "walk 2.csv": "one"} {
		id, err := store.Restore(trashed)
		if err != nil {
			t.Fatal(err)
		}
		expect(id, note)
	}
	expect("walk.csv", "three")
}

// TestBrokenNotesAreSetAside: notes that cannot be understood are kept beside before
// others are written.
func TestBrokenNotesAreSetAside(t *testing.T) {
	store := NewStore(t.TempDir())
	if _, err := store.Add("walk.csv", strings.NewReader("time_s,pulse [V]\n0,1\n0.01,2\n0.02,3\n"), Reading{}); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{notesName, marksName} {
		for _, broken := range []string{`{"walk.csv`, `null`, `[1]`, ``} {
			path := filepath.Join(store.Folder(), name)
			if err := os.WriteFile(path, []byte(broken), 0o644); err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(store.SetNote("walk.csv", "x"), store.AddMark("walk.csv", recording.Annotation{Sample: 1, Text: "y"})); err != nil {
				t.Fatal(err)
			}
			if kept, err := os.ReadFile(path + ".broken"); err != nil || string(kept) != broken {
				t.Errorf("%s with %q: %q is kept, %v", name, broken, kept, err)
			}
			if entry, err := store.Get("walk.csv"); err != nil || entry.Note != "x" || len(store.Marks("walk.csv")) == 0 {
				t.Errorf("%s with %q: nothing can be noted any more", name, broken)
			}
		}
	}
}

// TestNotesMadeAfterwards: a note added to a closed recording is listed in its place,
// moves along with a new name, goes into an EDF+ download and leaves the samples and
// the file itself as they were.
func TestNotesMadeAfterwards(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 500)
	r.Note(250, "felt a draught")
	recordertest.Feed(r, 500, 500)
	state, err := r.Keep("lamp clip", 1)
	if err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(filepath.Join(store.Folder(), state.ID))
	if err != nil {
		t.Fatal(err)
	}
	at := func(id, more string) string { return "/recordings/" + url.PathEscape(id) + more }
	for _, body := range []string{`{"sample":700,"text":" trimmer  turned "}`, `{"sample":100,"text":"begin"}`} {
		if code, answer := ask(t, store, r, "POST", at(state.ID, "/notes"), body); code != http.StatusOK {
			t.Fatalf("%s: %d %s", body, code, answer)
		}
	}
	for _, body := range []string{`{"sample":-1,"text":"x"}`, `{"sample":1,"text":"two\nlines"}`, `{"sample":1,"text":"a\tb"}`, `{"sample":1,"text":" "}`, `{"sample":1,"text":"` + strings.Repeat("x", 1001) + `"}`} {
		if code, _ := ask(t, store, r, "POST", at(state.ID, "/notes"), body); code != http.StatusBadRequest {
			t.Errorf("%.40s is answered with %d", body, code)
		}
	}
	id, err := store.Rename(state.ID, "board A")
	if err != nil {
		t.Fatal(err)
	}
	code, answer := ask(t, store, r, "GET", at(id, ""), "")
	if code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	var detail struct {
		Samples int64
		Notes   []struct {
			Sample       int64
			OnsetSeconds float64
			Text         string
			Added        bool
		}
	}
	if err := json.Unmarshal(answer, &detail); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(answer), `"onsetSeconds":`) {
		t.Errorf("keys are not in lower camel case: %s", answer)
	}
	want := []string{"begin", "felt a draught", "trimmer turned"}
	var got []string
	for _, n := range detail.Notes {
		got = append(got, n.Text)
	}
	if strings.Join(got, "|") != strings.Join(want, "|") || !detail.Notes[0].Added || detail.Notes[1].Added || detail.Notes[2].Sample != 700 {
		t.Errorf("notes %+v, want %v", detail.Notes, want)
	}

	code, data := ask(t, store, r, "GET", at(id, "/file?as=edf"), "")
	if code != http.StatusOK {
		t.Fatalf("%d %s", code, data)
	}
	out := filepath.Join(t.TempDir(), "out.edf")
	if err := os.WriteFile(out, data, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if notes := texts(f.NotesBetween(0, 2000)); strings.Join(notes, "|") != strings.Join(want, "|") {
		t.Errorf("the download has notes %q", notes)
	}
	if err := os.WriteFile(filepath.Join(store.Folder(), "copy.edf"), data, 0o600); err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), "copy.edf"), recordertest.Fed{Samples: 1000})

	if code, answer := ask(t, store, r, "DELETE", at(id, "/notes"), `{"sample":250,"text":"felt a draught"}`); code != http.StatusNotFound {
		t.Errorf("a note of the recording itself is taken away: %d %s", code, answer)
	}
	if code, answer := ask(t, store, r, "DELETE", at(id, "/notes"), `{"sample":100,"text":"begin"}`); code != http.StatusOK || len(store.Marks(id)) != 1 {
		t.Errorf("taking a note away: %d %s, left %v", code, answer, store.Marks(id))
	}
	after, err := os.ReadFile(filepath.Join(store.Folder(), id))
	if err != nil || string(after) != string(before) {
		t.Error("the recording itself changed")
	}
}

// TestAPathChangedWhileRecordingIsTold in words, not as the settings that programs read; and a polarity that was reversed as a remark.
func TestAPathChangedWhileRecordingIsTold(t *testing.T) {
	r, store := begin(t)
	settings := channel.Resolve(channel.Places{Described: recordertest.Channel, RateHz: 250}).Settings
	r.Engines(channel.Start{RateHz: 250, Ratio: 1, Channels: []channel.Settings{settings}})
	recordertest.Feed(r, 0, 500)
	settings.Path.Drift.On = !settings.Path.Drift.On
	first := settings
	r.Engine(500, channel.Event{Settings: &first})
	recordertest.Feed(r, 500, 250)
	settings.Scale.Invert = true
	r.Engine(750, channel.Event{Settings: &settings})
	recordertest.Feed(r, 750, 250)
	state, err := r.Keep("lamp clip", 1)
	if err != nil {
		t.Fatal(err)
	}
	code, answer := ask(t, store, r, "GET", "/recordings/"+url.PathEscape(state.ID), "")
	var out struct {
		Notes   []Note
		Remarks []string
	}
	if err := json.Unmarshal(answer, &out); err != nil || code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	if len(out.Notes) != 2 || out.Notes[0].Text != "settings of pulse changed" || out.Notes[0].Sample != 500 {
		t.Errorf("notes %+v, want the changes at samples 500 and 750", out.Notes)
	}
	if len(out.Remarks) != 1 || !strings.HasPrefix(out.Remarks[0], "pulse: until 3 s other volts or another polarity were set") {
		t.Errorf("remarks %q, want that polarity was reversed at 3 s", out.Remarks)
	}
}

func texts(notes []acquire.Note) (list []string) {
	for _, n := range notes {
		list = append(list, n.Text)
	}
	return list
}
