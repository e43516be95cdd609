//go:build unix

package bytestream

import (
	"errors"
	"io"
	"os"
	"syscall"
	"time"
)

// fifo is a named pipe open for reading.
type fifo struct {
	f       *os.File
	written bool // by the writer of now
}

func openFIFO(path string) (io.ReadCloser, error) {
	// Without O_NONBLOCK opening waits for a writer, and Close could not end a Read.
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	return &fifo{f: f}, nil
}

// Read returns 0 and nil while there is no writer yet, io.EOF when he has gone.
func (p *fifo) Read(b []byte) (int, error) {
	n, err := p.f.Read(b)
	p.written = p.written || n > 0
	if errors.Is(err, io.EOF) && !p.written {
		time.Sleep(10 * time.Millisecond)
		return 0, nil
	}
	return n, err
}

func (p *fifo) Close() error { return p.f.Close() }
