package library

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
)

// pulses tells beats at samples of the first channel.
func pulses(r *Recorder, at ...int64) {
	for _, s := range at {
		r.Beats(0, []beat.Beat{{Sample: s, Kind: beat.Pulse, Quality: 0.9}}, 1)
	}
}

// beatsOf are the samples of a recording's beats.
func beatsOf(f *recording.File) []int64 {
	var list []int64
	for _, a := range f.Annotations() {
		if _, _, _, ok := recording.ParseBeat(a.Text); ok {
			list = append(list, a.Sample)
		}
	}
	return list
}

// TestBeatsAtBothEnds: a beat is told up to a second after its sample. One of before the
// start is not in the recording, those of its last second are, of a recording that is stopped, that
// ends by itself and that is kept afterwards.
func TestBeatsAtBothEnds(t *testing.T) {
	for _, way := range []string{"stopped", "by itself", "kept"} {
		t.Run(way, func(t *testing.T) {
			r, store := begin(t)
			r.wait = 10 * time.Second
			feed(r, 0, 1000)
			var state *State
			minutes := 0.0
			if way == "by itself" {
				minutes = 2.0 / 60
			}
			if way != "kept" {
				var err error
				if state, err = r.Start(way, minutes, 0, ""); err != nil {
					t.Fatal(err)
				}
			}
			feed(r, 1000, 100)
			pulses(r, 900, 1050) // the first belongs before the start
			feed(r, 1100, 400)
			done := make(chan *State, 1)
			go func() {
				s := state
				switch way {
				case "stopped":
					s, _ = r.Stop()
				case "kept":
					s, _ = r.Keep(way, 2.0/60)
				}
				done <- s
			}()
			for waiting := func() bool { r.mu.Lock(); defer r.mu.Unlock(); return len(r.late) == 0 }; waiting(); {
				time.Sleep(time.Millisecond)
			}
			feed(r, 1500, 200)
			pulses(r, 1250, 1480, 1520) // the last one belongs after the end
			feed(r, 1700, 400)
			select {
			case state = <-done:
			case <-time.After(5 * time.Second):
				t.Fatal("it waits for its beats for ever")
			}
			for i := 0; r.Busy(state.ID); i++ {
				if i > 500 {
					t.Fatal("it is not closed")
				}
				time.Sleep(10 * time.Millisecond)
			}
			f := check(t, store, state.ID, 1000, 500, nil)
			if got := beatsOf(f); !slices.Equal(got, []int64{50, 250, 480}) {
				t.Errorf("beats at %v, want 50, 250, 480", got)
			}
		})
	}
}

// TestSilentSourceEndsTheWait: no beat is waited for when nothing comes any more.
func TestSilentSourceEndsTheWait(t *testing.T) {
	r, store := begin(t)
	feed(r, 0, 500)
	state, err := r.Start("silent", 0, 1, "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	check(t, store, state.ID, 0, 500, nil)
}

// TestANoteMovesNoTime: a note far ahead keeps the memory and the recording as they are.
func TestANoteMovesNoTime(t *testing.T) {
	r, store := begin(t)
	feed(r, 0, 500)
	state, err := r.Start("on", 1, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	r.Note(1<<40, "from the future")
	feed(r, 500, 500)
	if s := r.State(); s == nil || s.ID != state.ID {
		t.Error("the note ended the recording")
	}
	kept, err := r.Keep("kept", 1)
	if err != nil {
		t.Fatal(err)
	}
	check(t, store, kept.ID, 0, 1000, nil)
	if _, err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	check(t, store, state.ID, 500, 500, nil)
}

// TestDownloadWhileRecording: what is given out of a recording under way is a closed file of what
// came so far, and the recording goes on.
func TestDownloadWhileRecording(t *testing.T) {
	r, store := begin(t)
	feed(r, 0, 10)
	state, err := r.Start("under way", 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	feed(r, 10, 700)
	path := filepath.Join(t.TempDir(), "a.edf")
	at := "/recordings/" + url.PathEscape(state.ID)
	for i := 0; ; i++ {
		time.Sleep(20 * time.Millisecond)
		r.Note(700, "come in")
		_, body := ask(t, store, r, "GET", at+"/file", "")
		if err := os.WriteFile(path, body, 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		n, notes := f.Len(), len(f.NotesBetween(0, 1000))
		unclosed, remarks := f.Unclosed(), f.Remarks()
		f.Close()
		if unclosed || len(remarks) > 0 {
			t.Fatalf("unclosed %v, remarks %q", unclosed, remarks)
		}
		if n == 700 && notes > 0 {
			break
		}
		if i > 200 {
			t.Fatalf("%d samples of 700, %d notes in it", n, notes)
		}
	}
	if code, _ := ask(t, store, r, "DELETE", at, ""); code != http.StatusConflict {
		t.Errorf("deleting it while it is written is answered %d", code)
	}
	feed(r, 710, 100)
	if _, err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	check(t, store, state.ID, 10, 800, nil)
}

// TestFolderIsTheOwners: files and folder are for their owner alone, and what a crash left of
// an upload goes.
func TestFolderIsTheOwners(t *testing.T) {
	r, store := begin(t)
	feed(r, 0, 500)
	state, err := r.Keep("mine", 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := store.SetNote(state.ID, "good light"); err != nil {
		t.Fatal(err)
	}
	old := time.Now().Add(-time.Hour)
	for name, at := range map[string]time.Time{".incoming-1.csv": old, ".incoming-2.csv": time.Now()} {
		path := filepath.Join(store.Folder(), name)
		if err := os.WriteFile(path, []byte("1\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, at, at); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := store.List(); err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(store.Folder(), func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s may be read by others: %v", path, info.Mode())
		}
		if d.Name() == ".incoming-1.csv" {
			t.Error("what a crash left of an upload stays")
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(store.Folder(), ".incoming-2.csv")); err != nil {
		t.Error("a file that is arriving was swept away")
	}
}

// TestNamesThatAreRefused: names that Windows keeps for devices (Microsoft, Naming Files, Paths,
// and Namespaces) and signs that turn a name around, in an upload and a new name.
func TestNamesThatAreRefused(t *testing.T) {
	_, store := begin(t)
	const csv = "# rate 250 Hz\npulse\n1\n2\n3\n"
	for _, name := range []string{"CON.csv", "con .csv", "nul.csv", "LPT1.csv", "aux.tar.csv", "lamp\u202evsc.csv", "lamp\u200b.csv"} {
		if _, err := store.Add(name, strings.NewReader(csv)); err == nil {
			t.Errorf("%q is taken", name)
		}
	}
	e, err := store.Add("console lamp.csv", strings.NewReader(csv))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"prn", "a\u202eb"} {
		if id, err := store.Rename(e.ID, name); err == nil {
			t.Errorf("%q becomes %q", name, id)
		}
	}
}

// TestDeclaredSizeIsRefusedAtOnce: of an upload that says it is too large not a byte is read.
func TestDeclaredSizeIsRefusedAtOnce(t *testing.T) {
	r, store := begin(t)
	body := &countedReader{}
	q := httptest.NewRequest("POST", "/recordings?name=a.csv", body)
	q.ContentLength = 6 << 30
	w := asked(Program(store, r, NewReviews(store), 0), q)
	if w.Code != http.StatusRequestEntityTooLarge || body.reads > 0 {
		t.Errorf("answered %d after %d reads", w.Code, body.reads)
	}
}

type countedReader struct{ reads int }

func (c *countedReader) Read(b []byte) (int, error) { c.reads++; return len(b), nil }

// TestANewRecordingClearsTheOldProblem: that one stopped by itself is told until a new one runs.
func TestANewRecordingClearsTheOldProblem(t *testing.T) {
	r, store := begin(t)
	told := make(chan string, 4)
	r.problem = func(text string) { told <- text }
	feed(r, 0, 100)
	state, err := r.Start("lost", 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(store.Folder(), state.ID)); err != nil {
		t.Fatal(err)
	}
	next := func() string {
		select {
		case text := <-told:
			return text
		case <-time.After(10 * time.Second):
			t.Fatal("nothing was told")
			return ""
		}
	}
	feed(r, 100, 100)
	if text := next(); !strings.Contains(text, "stopped") {
		t.Errorf("told %q", text)
	}
	for i := 0; r.Busy(state.ID); i++ {
		if i > 500 {
			t.Fatal("it does not end")
		}
		time.Sleep(10 * time.Millisecond)
	}
	if _, err := r.Start("again", 0, 0, ""); err != nil {
		t.Fatal(err)
	}
	if text := next(); text != "" {
		t.Errorf("told %q, want that all is well", text)
	}
	if _, err := r.Stop(); err != nil {
		t.Error(err)
	}
}
