package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
)

// longCSV writes so many lines of two channels at 1 kHz.
func longCSV(t *testing.T, lines int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "long.csv")
	file, err := os.Create(path)
	must(t, err)
	b := []byte("time_s,pulse [V],lead [V]\n")
	for i := range lines {
		b = strconv.AppendFloat(b, float64(i)/1000, 'f', 3, 64)
		b = fmt.Appendf(b, ",%d.%04d,-0.%04d\n", i%3, i%10000, (i*7)%10000)
		if len(b) > 1<<16 || i == lines-1 {
			_, err := file.Write(b)
			must(t, err)
			b = b[:0]
		}
	}
	must(t, file.Close())
	return path
}

// TestLongCSV: what is kept in memory of a long text does not grow with it, how far the reading is
// is told, every sample is in its place, and reading ends when it is cancelled. PULSEWRIGHT_LINES
// (2,200,000) says how many lines.
func TestLongCSV(t *testing.T) {
	lines := 2_200_000
	if n, err := strconv.Atoi(os.Getenv("PULSEWRIGHT_LINES")); err == nil {
		lines = n
	}
	path := longCSV(t, lines)
	most, last := uint64(0), 0.0
	f, err := OpenWith(path, OpenOptions{Context: t.Context(), Progress: func(share float64) {
		if share < last || share > 1 {
			t.Errorf("share %g after %g", share, last)
		}
		if share > last+0.05 {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapSys)
			last = share
		}
	}})
	must(t, err)
	defer f.Close()
	if last < 0.9 || f.Len() != int64(lines) {
		t.Errorf("told up to %g; %d samples, want %d", last, f.Len(), lines)
	}
	for _, i := range []int{0, 12_345, lines - 1} {
		row := [][]int32{make([]int32, 1), make([]int32, 1)}
		if _, err := f.ReadAt(row, int64(i)); err != nil && err != io.EOF {
			t.Fatal(err)
		}
		if row[0][0] != int32(i%3*10000+i%10000) || row[1][0] != -int32(i*7%10000) {
			t.Errorf("sample %d is %d, %d", i, row[0][0], row[1][0])
		}
	}
	if st := f.store.(*spool); st.file == nil || cap(st.buffer) > 1<<17 {
		t.Errorf("%d samples wait in memory, and a file was made: %v", cap(st.buffer), st.file != nil)
	}
	t.Logf("%d lines: at most %d MB of heap", lines, most>>20)
	if most > 200<<20 {
		t.Errorf("%d MB of heap, at most 200", most>>20)
	}
	ctx, stop := context.WithCancel(t.Context())
	_, err = OpenWith(path, OpenOptions{Context: ctx, Progress: func(share float64) {
		if share > 0.6 {
			stop()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
