package recording

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// A small disk that fills up.
func TestFullDisk(t *testing.T) {
	if os.Geteuid() != 0 {
		acquiretest.Missing(t, "a small tmpfs (needs root)")
	}
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=64k"); err != nil {
		acquiretest.Missing(t, "the right to mount a tmpfs: "+err.Error()+":")
	}
	defer syscall.Unmount(dir, 0)
	path := filepath.Join(dir, "a.edf")
	w, err := Create(path, Header{Info: acquire.Info{ClaimedRateHz: 1000, Channels: []acquire.Channel{lampClip()}}})
	must(t, err)
	data := noise(lampClip(), 100_000, 3)
	at := 0
	for ; at < len(data) && err == nil; at += 500 {
		err = w.Write([][]int32{data[at : at+500]}, int64(at))
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("%v, want no space", err)
	}
	for _, s := range []string{path, "free some space", "byte "} {
		if !strings.Contains(err.Error(), s) {
			t.Errorf("%q does not say %q", err, s)
		}
	}
	if again := w.Write([][]int32{{1}}, int64(at)); again != err && again.Error() != err.Error() {
		t.Errorf("then: %v", again)
	}
	if err := w.Close(); !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("Close: %v", err)
	}
	f := mustOpen(t, path)
	if f.Len() < 20_000 || len(f.Remarks()) > 0 {
		t.Errorf("%d samples kept of about 28,000; %q", f.Len(), f.Remarks())
	}
	sameCounts(t, all(t, f), [][]int32{data[:f.Len()]})
	f.Close()
	// Full from the start.
	filler, err := os.Create(filepath.Join(dir, "filler"))
	must(t, err)
	io.Copy(filler, io.LimitReader(zeros{}, 1<<20))
	filler.Close()
	if _, err := Create(filepath.Join(dir, "b.edf"), Header{Info: acquire.Info{ClaimedRateHz: 1000, Channels: []acquire.Channel{lampClip()}}}); !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("Create on a full disk: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "b.edf")); err == nil {
		t.Error("an empty file was left")
	}
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { return len(b), nil }
