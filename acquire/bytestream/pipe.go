package bytestream

import (
	"context"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/acquire/serialport"
)

// mostAgain bytes of an opening that failed are kept for the next one.
const mostAgain = 1 << 20

// Input brings a program's standard input, which can be read but once and whose Read
// nobody can interrupt, to the sources that want it. Safe for concurrent use.
type Input struct {
	r io.Reader

	begin  sync.Once
	taken  atomic.Bool
	again  []byte      // read by an opening that failed: for the next one, guarded by taken
	pieces chan []byte // one at a time: what is not wanted yet stays in the pipe
	err    error       // set before pieces is closed
}

// NewInput reads r, from the first opening on.
func NewInput(r io.Reader) *Input { return &Input{r: r, pieces: make(chan []byte)} }

func (in *Input) run() {
	defer close(in.pieces)
	for {
		buffer := make([]byte, 4096)
		n := 0
		err := guard.Call("reading standard input", func() (err error) { n, err = in.r.Read(buffer); return err })
		if n > 0 {
			in.pieces <- buffer[:n]
		}
		if err != nil {
			in.err = err
			return
		}
	}
}

// Open is the acquire.Opener of stdin:- and "-". With exact=1 and a rate the samples
// are the clock, however fast they come.
func (in *Input) Open(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	if a.Path != "-" {
		return nil, &acquire.AddressError{Address: a.String(), Part: fmt.Sprintf("path %q", a.Path), Rule: "standard input has no path: write - or stdin:-"}
	}
	if !in.taken.CompareAndSwap(false, true) {
		return nil, fmt.Errorf("bytestream: standard input: already open; close that source first")
	}
	in.begin.Do(func() { go in.run() })
	link := &inputLink{in: in, rest: in.again, read: in.again, closed: make(chan struct{})}
	source, err := openPipe(ctx, a, serialport.Stream{Link: link, Who: "bytestream: standard input", Name: "standard input",
		Silent: "does the program before the pipe print lines, and does it flush them?", Ends: true, Waits: true})
	if err != nil { // nobody reads the link any more
		in.again = link.read
		in.taken.Store(false)
		return nil, err
	}
	in.again = nil
	link.opened.Store(true)
	return source, nil
}

// inputLink is one source's hold on the input.
type inputLink struct {
	in     *Input
	rest   []byte
	read   []byte // until it is opened, all that was read
	opened atomic.Bool
	closed chan struct{}
	once   sync.Once
}

func (l *inputLink) Read(p []byte) (int, error) {
	if len(l.rest) == 0 {
		select {
		case <-l.closed:
			return 0, os.ErrClosed
		default:
		}
		select {
		case piece, ok := <-l.in.pieces:
			if !ok {
				return 0, l.in.err
			}
			l.rest = piece
			if l.read = append(l.read, piece...); l.opened.Load() || len(l.read) > mostAgain {
				l.read = nil
			}
		case <-l.closed:
			return 0, os.ErrClosed
		}
	}
	n := copy(p, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

func (l *inputLink) Close() error {
	l.once.Do(func() {
		close(l.closed)
		if l.opened.Load() { // else Open lets it go
			l.in.taken.Store(false)
		}
	})
	return nil
}

// OpenFIFO is the acquire.Opener of fifo:PATH, a named pipe. It waits for a writer;
// when the writer closes it, the pipe is unplugged until the next.
func OpenFIFO(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	who := "bytestream: fifo:" + a.Path
	info, err := os.Stat(a.Path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w (%v); make it with mkfifo", who, acquire.ErrUnplugged, err)
	}
	if info.Mode()&os.ModeNamedPipe == 0 {
		return nil, fmt.Errorf("%s: not a named pipe; make one with mkfifo, or open a recording as file:%s", who, a.Path)
	}
	f, err := openFIFO(a.Path)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot open: %w; may this user read it?", who, err)
	}
	return openPipe(ctx, a, serialport.Stream{Link: f, Who: who, Name: "pipe " + a.Path,
		Silent: "does a program write to the pipe, and does it flush its lines?", Again: "let a program write to it again", Waits: true})
}

// openPipe opens a stream whose samples may be the clock.
func openPipe(ctx context.Context, a acquire.Address, st serialport.Stream) (acquire.Source, error) {
	exact, err := a.Flag("exact", false)
	if err != nil {
		st.Link.Close()
		return nil, err
	}
	st.Own = []string{"exact"}
	source, err := serialport.OpenStream(ctx, a, st)
	if err != nil || !exact {
		return source, err
	}
	if source.Describe().ClaimedRateHz == 0 {
		source.Close()
		return nil, &acquire.AddressError{Address: a.String(), Part: "option exact=1", Rule: "give rate too, or a line such as # rate 250 Hz"}
	}
	return exactSource{source}, nil
}

// exactSource is a source whose sample counts are the clock.
type exactSource struct{ acquire.Source }

func (s exactSource) Describe() acquire.Info {
	info := s.Source.Describe()
	info.ExactClock = true
	return info
}

// Health implements acquire.HealthReporter.
func (s exactSource) Health() acquire.Health { return s.Source.(acquire.HealthReporter).Health() }
