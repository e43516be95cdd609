// Package recordertest feeds a recorder counts that are known, and finds them in its files.
package recordertest

import (
	"cmp"
	"path/filepath"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/library/recorder"
)

// Channel is a pulse of a 12-bit converter on 5 V.
var Channel = acquire.Channel{Label: "pulse", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 5.0 / 4096, MaxCount: 4095}

// Begin makes a recorder of one Channel at 250 Hz and the folder that it records into. Unless c
// says otherwise a problem fails the test, and late beats are waited for during 10 ms.
func Begin(t *testing.T, c recorder.Config) (r *recorder.Recorder, folder string) {
	t.Helper()
	c.Folder = filepath.Join(t.TempDir(), "recordings")
	c.LateWait = cmp.Or(c.LateWait, 10*time.Millisecond)
	if c.Problem == nil {
		c.Problem = func(text string) { t.Error("problem told:", text) }
	}
	r = recorder.New(c)
	r.Begin(1, acquire.Info{Address: "demo:finger", Channels: []acquire.Channel{Channel}}, 250, time.Date(2026, 3, 1, 19, 42, 5, 0, time.UTC))
	return r, c.Folder
}

// Feed tells a recorder n samples from position first on; sample i has the count i mod 4096.
func Feed(r *recorder.Recorder, first int64, n int) {
	for done := 0; done < n; {
		k := min(4, n-done)
		counts := make([]int32, k)
		for i := range counts {
			counts[i] = int32((first + int64(done+i)) % 4096)
		}
		r.Samples(first+int64(done), [][]int32{counts})
		done += k
	}
}

// Fed is what a recording should hold: Samples of what Feed told, from position Start on.
type Fed struct {
	Start, Samples int64
	Missing        func(i int64) bool // tells which of them are; nil for none
}

// Check reads the recording at path and compares it.
func Check(t *testing.T, path string, want Fed) *recording.File {
	t.Helper()
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	if f.Len() != want.Samples {
		t.Fatalf("%s holds %d samples, want %d", filepath.Base(path), f.Len(), want.Samples)
	}
	counts := [][]int32{make([]int32, want.Samples)}
	if got, err := f.ReadAt(counts, 0); int64(got) != want.Samples {
		t.Fatalf("read %d of %d samples: %v", got, want.Samples, err)
	}
	for i, v := range counts[0] {
		count := int32((want.Start + int64(i)) % 4096)
		if want.Missing != nil && want.Missing(int64(i)) {
			count = acquire.MissingCount
		}
		if v != count {
			t.Fatalf("sample %d is %d, want %d", i, v, count)
		}
	}
	return f
}
