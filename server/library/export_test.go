package library

import (
	"errors"
	"math"
	"net/http"
	"os"
	"path/filepath"
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

// TestCSVKeepsValuesAndEnds: a scale without a unit, another unit than volts, and volts keep their values and the
// converter's ends in a CSV; a value that somebody puts beyond them makes the ends unknown.
func TestCSVKeepsValuesAndEnds(t *testing.T) {
	r, store := begin(t)
	w, err := recording.Create(filepath.Join(t.TempDir(), "a.bdf"), recording.Header{NoSync: true, Info: acquire.Info{ClaimedRateHz: 250, Channels: []acquire.Channel{
		{Label: "bare", VoltsPerCount: 10.0 / 65536, MinCount: -32000, MaxCount: 32000},
		{Label: "Pleth", Unit: "NU", VoltsPerCount: 1.0 / 2048, MinCount: -2048, MaxCount: 2047},
		{Label: "turned", Unit: "V", VoltsPerCount: -5.0 / 1024, OffsetVolts: 5, MinCount: 0, MaxCount: 1023},
		{Label: "plain"}}}})
	if err == nil {
		err = errors.Join(w.Write([][]int32{{437, -32000, 5}, {-2048, 2047, 700}, {0, 1023, 512}, {0, 7, 500}}, 0), w.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(w.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	e, err := store.Add(filepath.Base(w.Path()), file, Reading{})
	if err != nil {
		t.Fatal(err)
	}
	_, text := ask(t, store, r, "GET", "/recordings/"+e.ID+"/file?as=csv", "")
	read := func(name string, text string) (rec *channel.Recording, values [][]float64) {
		t.Helper()
		f, err := recording.OpenBytes([]byte(text), name, recording.OpenOptions{})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return valuesOf(t, channel.Open(f, channel.Sidecar{}))
	}
	whole, err := os.ReadFile(w.Path())
	if err != nil {
		t.Fatal(err)
	}
	before, want := read("a.bdf", string(whole))
	after, got := read("a.csv", string(text))
	for n, c := range before.Channels {
		d, step := after.Channels[n], before.Info.Channels[n].VoltsPerCount
		for i, v := range want[n] {
			if !(math.Abs(got[n][i]-v) <= math.Abs(step)/99) {
				t.Errorf("%s: sample %d is %g, was %g", c.Label, i, got[n][i], v)
			}
		}
		low, high := c.Ends(before.Info.Channels[n])
		if a, b := d.Ends(after.Info.Channels[n]); !(math.Abs(a-low) <= math.Abs(step)/99 && math.Abs(b-high) <= math.Abs(step)/99) {
			t.Errorf("%s: the ends are %g and %g, were %g and %g", c.Label, a, b, low, high)
		}
		if u, v := c.Linear(before.Info.Channels[n]).Unit, d.Linear(after.Info.Channels[n]).Unit; u != v {
			t.Errorf("%s: in %s, was in %s", c.Label, v, u)
		}
	}
	edited, _ := read("a.csv", strings.Replace(string(text), "5.00000,", "7.00000,", 1))
	if low, high := edited.Channels[2].Ends(edited.Info.Channels[2]); low != 0 || high != 0 {
		t.Errorf("beyond its ends of %g and %g", low, high)
	}
}

// valuesOf are all values of a short recording.
func valuesOf(t *testing.T, rec *channel.Recording) (*channel.Recording, [][]float64) {
	t.Helper()
	counts, values := make([][]int32, len(rec.Channels)), make([][]float64, len(rec.Channels))
	for c := range counts {
		counts[c] = make([]int32, rec.File.Len())
	}
	if _, err := rec.File.ReadAt(counts, 0); err != nil {
		t.Fatal(err)
	}
	for c, row := range counts {
		for _, v := range row {
			values[c] = append(values[c], rec.Channels[c].Linear(rec.Info.Channels[c]).Value(v))
		}
	}
	return rec, values
}

// TestCSVOfCountsKeepsUnitAndRails: what is said of a channel whose scale nobody knows stays with its CSV, and its
// numbers as they are.
func TestCSVOfCountsKeepsUnitAndRails(t *testing.T) {
	r, store := begin(t)
	e, err := store.Add("board.csv", strings.NewReader("# rate 250 Hz\nvalue\n512\n513\n600\n400\n512\n"), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	const said = `{"channels":[{"channel":0,"label":"A0 (left)","unit":"mV","scale":{"source":"unknown","gain":1,"referenceVolts":5,"bits":10,"invert":false,"supplyLowVolts":0,"supplyHighVolts":5,"midRailVolts":2.5,"fullScaleVolts":0,"couplingHz":0,"couplingFloorHz":0,"signed":false}}]}`
	if code, answer := ask(t, store, r, "PATCH", "/recordings/"+e.ID, said); code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	_, text := ask(t, store, r, "GET", "/recordings/"+e.ID+"/file?as=csv", "")
	f, err := recording.OpenBytes([]byte(text), "a.csv", recording.OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, values := valuesOf(t, channel.Open(f, channel.Sidecar{}))
	c := rec.Channels[0]
	if c.Label != "A0 (left)" || c.Unit != "mV" || c.Scale.Source != channel.ScaleUnknown || c.Scale.At(c.Scale.SupplyHighVolts) != 5 || c.Scale.At(c.Scale.MidRailVolts) != 2.5 || values[0][2] != 600 {
		t.Errorf("%+v of %v", c.Settings, values)
	}
}
