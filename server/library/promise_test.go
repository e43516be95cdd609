package library

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/recording"
	"pulsewright/server/library/recorder/recordertest"
)

// TestDownloadWhileRecording: what is given out of a recording under way is a closed file of what
// came so far, and the recording goes on.
func TestDownloadWhileRecording(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 10)
	state, err := r.Start("under way", 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	recordertest.Feed(r, 10, 700)
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
	recordertest.Feed(r, 710, 100)
	if _, err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 10, Samples: 800})
}

// TestFolderIsTheOwners: files and folder are for their owner alone, and what a crash left of
// an upload goes.
func TestFolderIsTheOwners(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 500)
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
		if _, err := store.Add(name, strings.NewReader(csv), Reading{}); err == nil {
			t.Errorf("%q is taken", name)
		}
	}
	e, err := store.Add("console lamp.csv", strings.NewReader(csv), Reading{})
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
