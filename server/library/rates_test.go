package library

import (
	"math"
	"testing"
	"time"

	"pulsewright/acquire/recording"
)

// TestMedianRatesAreKept: the median rate of a recording without stored beats is found once, kept beside it for the next
// run, follows it to another name, and is found anew when its beats are edited.
func TestMedianRatesAreKept(t *testing.T) {
	store, rs, id := chest(t)
	never := func(string) bool { return false }
	look := func(store *Store, rs *Reviews) (Entry, int) {
		t.Helper()
		list, err := store.List()
		if err != nil || len(list) != 1 {
			t.Fatalf("%v, %v", list, err)
		}
		open := rs.WithRates(list, never)
		return list[0], open
	}
	wait := func(store *Store, rs *Reviews) Entry {
		t.Helper()
		for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
			if e, open := look(store, rs); open == 0 {
				return e
			} else if time.Now().After(deadline) {
				t.Fatal("the rate is not worked out")
			}
		}
	}
	if e, open := look(store, rs); open != 1 || e.MedianBPM != 0 || len(e.Kinds) != 1 || e.Kinds[0] != "ecg" {
		t.Fatalf("at first: %+v, %d open", e, open)
	}
	if e := wait(store, rs); math.Abs(e.MedianBPM-73) > 3 {
		t.Errorf("median rate %g, the simulation has about 73", e.MedianBPM)
	}
	again := NewStore(store.Folder())
	other := NewReviews(again)
	defer other.Close()
	if e, open := look(again, other); open != 0 || e.MedianBPM == 0 {
		t.Errorf("in the next run: %+v, %d open", e, open)
	}
	id, err := store.Rename(id, "lead")
	if err != nil {
		t.Fatal(err)
	}
	if e, open := look(store, rs); open != 0 || e.MedianBPM == 0 {
		t.Errorf("renamed: %+v, %d open", e, open)
	}
	if _, err := store.Edit(t.Context(), id, EditChange{Put: []recording.Edit{{At: at(60)}}}); err != nil {
		t.Fatal(err)
	}
	if _, open := look(store, rs); open != 1 {
		t.Errorf("edited: %d open, want 1", open)
	}
	wait(store, rs)
}
