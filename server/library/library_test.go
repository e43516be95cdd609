package library

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/library/overview"
	"pulsewright/server/library/recorder"
	"pulsewright/server/library/recorder/recordertest"
)

func begin(t *testing.T) (*recorder.Recorder, *Store) {
	t.Helper()
	r, folder := recordertest.Begin(t, recorder.Config{})
	return r, NewStore(folder)
}

func TestRenameNoteTrashRestoreAndUpload(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 500)
	one, err := r.Keep("one", 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := store.SetNote(one.ID, "board B"); err != nil {
		t.Fatal(err)
	}
	for name, rule := range map[string]string{"lamp/clip": `the sign "/"`, "clip: two": `the sign ":"`, "a\u202eb": "U+202E", "a\ab": "U+0007", strings.Repeat("a", 81): "at most 80", " . ": "a letter", "nul": "Windows"} {
		if _, err := store.Rename(one.ID, name); err == nil || !strings.Contains(err.Error(), rule) {
			t.Errorf("renamed to %q: %v, want an error with %s", name, err, rule)
		}
	}
	id, err := store.Rename(one.ID, "lamp .. clip می\u200cخواهم")
	if err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(id, "/\\:") || !strings.HasPrefix(id, one.ID[:19]) {
		t.Errorf("the renamed file is %q: want a safe name behind the old time", id)
	}
	if e, err := store.Get(id); err != nil || e.Note != "board B" {
		t.Errorf("the note did not move along: %+v, %v", e, err)
	}
	if err := store.Trash(id); err != nil {
		t.Fatal(err)
	}
	if list, _ := store.List(); len(list) != 0 {
		t.Errorf("trashed, but listed: %v", list)
	}
	if trash := store.Trashed(); len(trash) != 1 || trash[0].ID != id || trash[0].Bytes == 0 {
		t.Errorf("in the trash: %+v, want %s", trash, id)
	}
	back, err := store.Restore(id)
	if err != nil || back != id {
		t.Errorf("restored as %q, %v", back, err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), back), recordertest.Fed{Samples: 500})
	if trash := store.Trashed(); len(trash) != 0 {
		t.Errorf("restored, but in the trash: %+v", trash)
	}

	e, err := store.Add("../../evil.csv", strings.NewReader("# rate 100 Hz\npulse\n1\n2\n3\n"), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	if e.ID != "evil.csv" || e.RateHz != 100 {
		t.Errorf("taken in as %+v", e)
	}
	if again, err := store.Add("evil.csv", strings.NewReader("# rate 100 Hz\npulse\n1\n2\n3\n"), Reading{}); err != nil || again.ID != "evil 2.csv" {
		t.Errorf("the same name again: %+v, %v; nothing may be overwritten", again, err)
	}
	for name, content := range map[string]string{"x.exe": "MZ", "x.edf": "not a recording", "noext": "1\n2\n"} {
		if e, err := store.Add(name, strings.NewReader(content), Reading{}); err == nil {
			t.Errorf("%s was taken in as %+v", name, e)
		}
	}
	files, _ := filepath.Glob(filepath.Join(store.Folder(), ".incoming*"))
	if len(files) != 0 {
		t.Errorf("left behind: %v", files)
	}
}

func TestIDsCannotLeaveTheFolder(t *testing.T) {
	_, store := begin(t)
	outside := filepath.Join(filepath.Dir(store.Folder()), "secret.csv")
	if err := os.WriteFile(outside, []byte("1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_ = os.MkdirAll(store.Folder(), 0o755)
	_ = os.Symlink(outside, filepath.Join(store.Folder(), "link.csv"))
	for _, id := range []string{"../secret.csv", "..", ".", "", "/etc/passwd", `..\secret.csv`, ".settings.json", ".trash", "a/b.edf", "x\x00.edf", "link.csv", "none.edf"} {
		if p, err := store.Path(id); !errors.Is(err, ErrNoRecording) {
			t.Errorf("id %q led to %q, %v", id, p, err)
		}
		if err := store.Trash(id); err == nil {
			t.Errorf("id %q could be trashed", id)
		}
		if _, err := store.Restore(id); err == nil {
			t.Errorf("id %q could be restored", id)
		}
	}
}

// TestBriefList: without reading annotations the list is the same but for the median
// rate and the number of notes; read once, they are there in the brief one too.
func TestBriefList(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 100)
	if _, err := r.Start("lamp clip", 0, 1, "a note"); err != nil {
		t.Fatal(err)
	}
	for i := range 5 {
		recordertest.Feed(r, int64(100+200*i), 200)
		r.Beats(0, []beat.Beat{{Sample: int64(200 * i), Kind: beat.Pulse, Quality: 0.9}}, 1)
	}
	state, err := r.Stop()
	if err != nil {
		t.Fatal(err)
	}
	list := func(f func() ([]Entry, error)) Entry {
		t.Helper()
		l, err := f()
		if err != nil || len(l) != 1 {
			t.Fatalf("%v, %v", l, err)
		}
		return l[0]
	}
	brief := list(store.Brief)
	if brief.ID != state.ID || brief.Seconds != 4.4 || brief.RateHz != 250 || brief.MedianBPM != 0 || brief.Annotations != 0 {
		t.Errorf("brief: %+v", brief)
	}
	// Beats 200 samples apart at 250 Hz are 75 a minute.
	full := list(store.List)
	if full.MedianBPM != 75 || full.Annotations != 1 || full.Seconds != brief.Seconds {
		t.Errorf("full: %+v", full)
	}
	if again := list(store.Brief); again.MedianBPM != 75 || again.Annotations != 1 {
		t.Errorf("brief after it was read: %+v", again)
	}
	if _, err := overview.Load(store.Folder(), state.ID); err != nil {
		t.Fatal(err)
	}
	id, err := store.Rename(state.ID, "board B")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := overview.Load(store.Folder(), id); err != nil {
		t.Errorf("the overview did not move along: %v", err)
	}
	if err := store.Trash(id); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(overview.Path(store.Folder(), id)); err == nil {
		t.Error("the overview of a recording in the trash is left behind")
	}
}

// trashAndRestore throws a recording away and brings it back; its new name.
func trashAndRestore(t *testing.T, store *Store, id string) string {
	t.Helper()
	if err := store.Trash(id); err != nil {
		t.Fatal(err)
	}
	id, err := store.Restore(id)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// edfCopy opens what is downloaded as EDF+, until the test ends.
func edfCopy(t *testing.T, store *Store, id string) (*Export, *recording.File) {
	t.Helper()
	x, err := store.Export(t.Context(), id, "edf")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { x.Close() })
	f, err := recording.Open(x.Path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return x, f
}
