package library

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
)

// TestAnnotationsComeLater: an annotation file goes to the recording of its name that is there, as if it had come with it, follows it,
// and is inside of an EDF+ download; what belongs to none, or to another one, is refused.
func TestAnnotationsComeLater(t *testing.T) {
	store := NewStore(t.TempDir())
	rs := NewReviews(store)
	defer rs.Close()
	parted := map[string][]byte{}
	for _, ext := range []string{".hea", ".dat", ".atr"} {
		data, err := os.ReadFile("../../testdata/chest_lead_a" + ext)
		if err != nil {
			t.Fatal(err)
		}
		parted["chest_lead_a"+ext] = data
	}
	atr := parted["chest_lead_a.atr"]
	whole, err := store.AddRecord(parts(t, parted), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	want, err := rs.Annotated(whole.ID)
	if err != nil || len(want) != 24 {
		t.Fatalf("%d annotated beats, %v", len(want), err)
	}
	refused := func(name string, data []byte, says string) {
		t.Helper()
		if _, err := store.Add(name, bytes.NewReader(data), Reading{}); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want %q in it", name, err, says)
		}
	}
	refused("chest_lead_a.atr", atr, "has 24 annotated beats already")
	refused("walk.atr", atr, `none here is called "walk"`)

	delete(parted, "chest_lead_a.atr")
	if _, err := store.Rename(whole.ID, "whole"); err != nil {
		t.Fatal(err)
	}
	bare, err := store.AddRecord(parts(t, parted), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	id := bare.ID
	if list, err := rs.Annotated(id); err != nil || len(list) != 0 {
		t.Fatalf("%v, %v", list, err)
	}
	refused("chest_lead_a.atr", []byte{0, 0}, "no beat is annotated")
	refused("chest_lead_a.atr", atr[:5], "byte 5")
	refused("chest_lead_a.atr", append([]byte{0, 59 << 2, 1, 0, 0, 0}, atr...), "belong to another recording")
	same := func(what, id string) {
		t.Helper()
		if got, err := rs.Annotated(id); err != nil || !slices.Equal(got, want) {
			t.Errorf("%s: %v, %v; want %v", what, got, err, want)
		}
	}
	done, err := store.Add("CHEST_lead_a.atr", bytes.NewReader(atr), Reading{})
	if err != nil || done.ID != id || len(done.Told) != 1 || !strings.HasPrefix(done.Told[0], "24 annotated beats") || done.MedianBPM == 0 {
		t.Fatalf("%+v, %v", done, err)
	}
	same("brought in", id)
	if id, err = store.Rename(id, "lead"); err != nil {
		t.Fatal(err)
	}
	same("renamed", id)
	id = trashAndRestore(t, store, id)
	same("restored", id)
	x, f := edfCopy(t, store, id)
	if got, _, _ := recording.TakeMarked(f.Annotations(), f.Describe().ClaimedRateHz); !slices.Equal(got, want) || x.Path == filepath.Join(store.Folder(), id) {
		t.Errorf("downloaded: %v, want %v", got, want)
	}
}
