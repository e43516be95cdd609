package library

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
)

// TestArchive: the archive has each recording once, as its download is, under names of its own, and one that cannot be
// read as it is.
func TestArchive(t *testing.T) {
	store := NewStore(t.TempDir())
	simulatetest.Record(t, simulate.Finger(), 2000, filepath.Join(store.Folder(), "a.edf"))
	simulatetest.Record(t, simulate.Finger(), 500, filepath.Join(store.Folder(), "A.edf"))
	for name, text := range map[string]string{"a.csv": "# rate 100 Hz\npulse [V]\n1.0\n1.1\n1.2\n", "broken.edf": "nothing"} {
		if err := os.WriteFile(filepath.Join(store.Folder(), name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := store.AddMark("a.edf", recording.Annotation{Sample: 100, Text: "made afterwards"}); err != nil {
		t.Fatal(err)
	}
	ids := []string{"a.edf", "A.edf", "a.csv", "broken.edf"}
	var b bytes.Buffer
	if err := errors.Join(store.CheckArchive(ids, "edf"), store.Archive(context.Background(), &b, ids, "edf")); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range z.File {
		names = append(names, f.Name)
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "x.edf")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := recording.Open(path)
		if f.Name == "broken.edf" {
			if string(data) != "nothing" {
				t.Errorf("%s holds %q", f.Name, data)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if n := len(out.NotesBetween(0, out.Len())); f.Name == "a.edf" && (out.Len() != 2000 || n != 1) || f.Name == "A 2.edf" && out.Len() != 500 || f.Name == "a 3.edf" && out.Len() != 3 {
			t.Errorf("%s: %d samples, %d notes", f.Name, out.Len(), n)
		}
		out.Close()
	}
	if want := []string{"a.edf", "A 2.edf", "a 3.edf", "broken.edf"}; !slices.Equal(names, want) {
		t.Errorf("files %q, want %q", names, want)
	}
	ended, end := context.WithCancel(context.Background())
	end()
	if err := store.Archive(ended, io.Discard, ids, "edf"); !errors.Is(err, context.Canceled) {
		t.Errorf("an ended archive: %v", err)
	}
	for _, bad := range [][]string{nil, {"a.edf", "../b.edf"}, {"none.edf"}} {
		if err := store.CheckArchive(bad, ""); err == nil {
			t.Errorf("%q: no error", bad)
		}
	}
	if err := store.CheckArchive(ids, "pdf"); err == nil {
		t.Error("as=pdf: no error")
	}
}
