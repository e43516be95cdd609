package library

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/server/analysis"
)

func at(x int64) *int64 { return &x }

// chest writes half a minute of a simulated chest lead into a store.
func chest(t *testing.T) (*Store, *Reviews, string) {
	t.Helper()
	store := NewStore(t.TempDir())
	c := simulate.Chest()
	c.MotionPerMinute = 0
	simulatetest.Record(t, c, int64(30*c.RateHz), filepath.Join(store.Folder(), "chest.edf"))
	rs := NewReviews(store)
	t.Cleanup(rs.Close)
	return store, rs, "chest.edf"
}

func samples(t *testing.T, rs *Reviews, id string, q BeatQuery) (list []int64) {
	t.Helper()
	if q.To == 0 {
		q.To = 1 << 40
	}
	channels, err := rs.Beats(context.Background(), id, q)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range channels[0] {
		list = append(list, m.Sample)
	}
	return list
}

// TestEditedBeats: a beat added, one moved and one removed are in the beats found, in the intervals, and undone they
// are not; they follow the recording through another name, the trash and back.
func TestEditedBeats(t *testing.T) {
	store, rs, id := chest(t)
	found := samples(t, rs, id, BeatQuery{Find: 0})
	if len(found) < 25 {
		t.Fatalf("%d beats found", len(found))
	}
	added := (found[4] + found[5]) / 2
	put := []recording.Edit{{At: at(added)}, {At: at(found[10] + 7), Was: at(found[10])}, {Was: at(found[20] + 3)}} // the finder may begin elsewhere
	edits, err := store.Edit(t.Context(), id, EditChange{Put: put})
	if err != nil || edits.Count(0, 0, 1<<40) != (analysis.Edited{Added: 1, Moved: 1, Removed: 1}) {
		t.Fatalf("%v, %v", edits, err)
	}
	want := slices.Concat(found[:5], []int64{added}, found[5:10], []int64{found[10] + 7}, found[11:20], found[21:])
	same := func(what, id string) {
		t.Helper()
		if got := samples(t, rs, id, BeatQuery{Find: 0}); !slices.Equal(got, want) {
			t.Errorf("%s: beats\n%v, want\n%v", what, got, want)
		}
		if got := samples(t, rs, id, BeatQuery{Find: 0, Found: true}); !slices.Equal(got, found) {
			t.Errorf("%s: as found\n%v, want\n%v", what, got, found)
		}
	}
	same("edited", id)
	part, err := rs.Part(id, 0, 0, 1<<40)
	if err != nil {
		t.Fatal(err)
	}
	part.Whole, part.AllIntervals = true, true
	v, err := analysis.Variability(context.Background(), part)
	part.Rec.File.Close()
	var ends []int64
	for _, i := range v.Intervals {
		ends = append(ends, i.Sample)
	}
	if err != nil || v.Edited.Total() != 3 || !slices.Equal(ends, want[1:]) {
		t.Errorf("intervals end at\n%v, want\n%v; %v, %v", ends, want[1:], v.Edited, err)
	}
	var b strings.Builder
	if err := v.WriteList(&b); err != nil || strings.Count(b.String(), ",1\n") != 2+2+1 { // two beside each beat, one over the removed
		t.Errorf("by hand: %s", b.String())
	}

	id, err = store.Rename(id, "lead")
	if err != nil {
		t.Fatal(err)
	}
	same("renamed", id)
	id = trashAndRestore(t, store, id)
	same("restored", id)

	for _, bad := range []EditChange{{Channel: 1}, {Put: []recording.Edit{{}}}, {Put: []recording.Edit{{At: at(-1)}}}, {Put: []recording.Edit{{At: at(added + 3)}}}, {Put: []recording.Edit{{Was: at(found[10])}}}, {Put: []recording.Edit{{At: at(1 << 40)}}}} {
		var ask *AskError
		if _, err := store.Edit(t.Context(), id, bad); !errors.As(err, &ask) {
			t.Errorf("%v: %v, want what is wrong", bad, err)
		}
	}
	for what, edit := range map[string]recording.Edit{"removed": {Was: at(found[12] + 60)}, "moved": {Was: at(added), At: at(added + 70)}} {
		var ask *AskError
		if _, err := store.Edit(t.Context(), id, EditChange{Put: []recording.Edit{{Was: at(found[2])}, edit}}); !errors.As(err, &ask) || !strings.Contains(err.Error(), fmt.Sprintf("was=%d: no beat", *edit.Was)) {
			t.Errorf("%s where none was found: %v", what, err)
		}
	}
	if _, err := store.Edit(t.Context(), id, EditChange{Take: []recording.Edit{{At: at(3)}}}); !errors.Is(err, ErrEdited) {
		t.Errorf("taken what is not there: %v", err)
	}
	same("after refusals", id)
	if _, err := store.Edit(t.Context(), id, EditChange{Take: put}); err != nil {
		t.Fatal(err)
	}
	if got := samples(t, rs, id, BeatQuery{Find: 0}); !slices.Equal(got, found) {
		t.Errorf("undone: %v, want %v", got, found)
	}
}

// TestEditsGoWithADownload: an EDF+ download has the edits and the beats as they stand, and brought in again it is edited
// as before, further edits too.
func TestEditsGoWithADownload(t *testing.T) {
	store, rs, id := chest(t)
	found := samples(t, rs, id, BeatQuery{Find: 0})
	put := []recording.Edit{{At: at((found[4] + found[5]) / 2)}, {At: at(found[10] - 7), Was: at(found[10])}, {Was: at(found[20])}}
	if _, err := store.Edit(t.Context(), id, EditChange{Put: put}); err != nil {
		t.Fatal(err)
	}
	want := samples(t, rs, id, BeatQuery{Find: 0})
	for round := range 2 { // beats are stored in the second one
		x, err := store.Export(context.Background(), id, "edf")
		if err != nil {
			t.Fatal(err)
		}
		file, err := os.Open(x.Path)
		if err != nil {
			t.Fatal(err)
		}
		entry, err := store.Add("again.edf", io.Reader(file), Reading{})
		file.Close()
		x.Close()
		if err != nil {
			t.Fatal(err)
		}
		if id = entry.ID; entry.Annotations != 0 {
			t.Errorf("%d notes, want none", entry.Annotations)
		}
		detail, err := rs.Detail(id, false)
		if err != nil || len(detail.Edits[0]) != len(put) || len(detail.Notes) != 0 {
			t.Fatalf("edits %v, notes %v, %v", detail.Edits, detail.Notes, err)
		}
		if got := samples(t, rs, id, BeatQuery{Find: -1}); !slices.Equal(got, want) {
			t.Errorf("stored\n%v, want\n%v", got, want)
		}
		if got := samples(t, rs, id, BeatQuery{Find: 0}); !slices.Equal(got, want) {
			t.Errorf("found\n%v, want\n%v", got, want)
		}
		more := recording.Edit{Was: at(found[22+2*round])}
		if _, err := store.Edit(t.Context(), id, EditChange{Put: []recording.Edit{more}}); err != nil {
			t.Fatal(err)
		}
		before := len(want)
		if want = samples(t, rs, id, BeatQuery{Find: -1}); len(want) != before-1 {
			t.Errorf("%d beats after one more of %d is removed", len(want), before)
		}
		put = append(put, more)
	}
}
