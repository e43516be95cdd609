//go:build unix

package bytestream

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"pulsewright/acquire"
)

func TestFIFO(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if _, err := OpenFIFO(within(t), address(t, "fifo:"+path)); !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "mkfifo") {
		t.Errorf("no pipe: %v", err)
	}
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenFIFO(within(t), address(t, "fifo:"+path)); err == nil || !strings.Contains(err.Error(), "not a named pipe") {
		t.Errorf("a file: %v", err)
	}
	os.Remove(path)
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 { // a writer, and after him another
		done := openLater(within(t), OpenFIFO, address(t, "fifo:"+path))
		w, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		stop, ended := make(chan struct{}), make(chan struct{})
		go func() {
			defer close(ended)
			printLines(w, 0, stop)
		}()
		o := <-done
		if o.err != nil {
			t.Fatal(o.err)
		}
		inOrder(t, read(t, o.s, 200))
		close(stop)
		<-ended
		w.Close()
		if err := untilError(t, o.s); !errors.Is(err, acquire.ErrUnplugged) {
			t.Errorf("after the writer left: %v", err)
		}
		o.s.Close()
	}
}
