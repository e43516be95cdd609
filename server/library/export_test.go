package library

import (
	"math"
	"net/http"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
)

// TestCSVKeepsWhatWasSaid: a chest lead on a 10-bit converter of 5 V behind a gain of 100, turned
// over about its mid-rail, is an ECG between the same rails when its CSV is read.
func TestCSVKeepsWhatWasSaid(t *testing.T) {
	r, store := begin(t)
	e, err := store.Add("board.csv", strings.NewReader("# rate 250 Hz\nvalue\n512\n513\n600\n400\n512\n"), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	if code, answer := ask(t, store, r, "PATCH", "/recordings/"+e.ID, chestLeadSaid); code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	_, text := ask(t, store, r, "GET", "/recordings/"+e.ID+"/file?as=csv", "")
	copied, err := store.Add("copied.csv", strings.NewReader(string(text)), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	open := func(id string) *channel.Recording {
		t.Helper()
		path, err := store.Path(id)
		if err != nil {
			t.Fatal(err)
		}
		f, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return channel.Open(f, Said(path))
	}
	before, after := open(e.ID), open(copied.ID)
	a, b := before.Channels[0], after.Channels[0]
	if b.Label != "chest lead" || b.Kind != acquire.KindECG || b.Path != a.Path || b.From.Kind != channel.PlaceRecorded {
		t.Errorf("the copy is %+v, from %v; want %+v", b.Settings, b.From, a.Settings)
	}
	counts := func(rec *channel.Recording) []int32 {
		list := [][]int32{make([]int32, 5)}
		if n, err := rec.File.ReadAt(list, 0); n != 5 || err != nil {
			t.Fatal(n, err)
		}
		return list[0]
	}
	la, lb := a.Linear(before.Info.Channels[0]), b.Linear(after.Info.Channels[0])
	for i, v := range counts(before) {
		if x, y := la.Value(v), lb.Value(counts(after)[i]); lb.Unit != "V" || math.Abs(x-y) > la.Step()/100 {
			t.Errorf("sample %d is %g V, in the copy %g %s", i, x, y, lb.Unit)
		}
	}
	// Rails of 0 and 5 V, turned about 2.5 V, are the same rails; all are seen before a gain of 100.
	for what, v := range map[float64]*float64{0: b.Scale.SupplyLowVolts, 0.05: b.Scale.SupplyHighVolts, 0.025: b.Scale.MidRailVolts} {
		if x := b.Scale.At(v); !(math.Abs(x-what) < 1e-12) {
			t.Errorf("a rail or the mid-rail is %g V, want %g", x, what)
		}
	}
}
