package library

import (
	"path/filepath"
	"reflect"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
)

// TestDownloadOfABoardWithoutARange: a recording of a board that states no range is a BDF; its EDF+ download is
// an EDF, equal to it, where all counts fit into 16 bits.
func TestDownloadOfABoardWithoutARange(t *testing.T) {
	store := NewStore(t.TempDir())
	record := func(id string, counts ...int32) {
		t.Helper()
		w, err := recording.Create(filepath.Join(store.Folder(), id), recording.Header{Info: acquire.Info{Channels: []acquire.Channel{{Label: "pulse", Kind: acquire.KindPulse}}}, RateHz: 250})
		if err == nil {
			err = w.Write([][]int32{counts}, 0)
		}
		if err == nil {
			err = w.Gap(int64(len(counts)), 700, "unplugged")
		}
		if err == nil {
			err = w.Write([][]int32{counts}, int64(len(counts))+700)
		}
		if err == nil {
			err = w.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	record("fits.bdf", 0, 4095, 17, acquire.MissingCount, 2047)
	record("wide.bdf", 0, 40000)
	for id, want := range map[string]string{"fits.bdf": "fits.edf", "wide.bdf": "wide.bdf"} {
		x, f := edfCopy(t, store, id)
		of, err := recording.Open(filepath.Join(store.Folder(), id))
		if err != nil {
			t.Fatal(err)
		}
		defer of.Close()
		if x.Name != want || filepath.Ext(x.Path) != filepath.Ext(want) {
			t.Errorf("%s becomes %s (%s), want %s", id, x.Name, x.Path, want)
		}
		if !reflect.DeepEqual(f.Describe().Channels, of.Describe().Channels) || !reflect.DeepEqual(f.Gaps(), of.Gaps()) || !reflect.DeepEqual(allCounts(t, f), allCounts(t, of)) {
			t.Errorf("%s: the download differs: %+v %v, want %+v %v", id, f.Describe().Channels, f.Gaps(), of.Describe().Channels, of.Gaps())
		}
	}
}

// allCounts are the counts of the first channel.
func allCounts(t *testing.T, f *recording.File) []int32 {
	t.Helper()
	counts := [][]int32{make([]int32, f.Len())}
	if _, err := f.ReadAt(counts, 0); err != nil {
		t.Fatal(err)
	}
	return counts[0]
}
