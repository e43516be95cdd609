package serialport

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.bug.st/serial"

	"pulsewright/acquire/guard"
)

var (
	errClosed  = errors.New("closed")
	errBacklog = fmt.Errorf("%d bytes wait unread: the program is too slow for this board", maxBacklog)
)

// pump reads a link in its own goroutine, so that the system's small buffer
// never overflows, and stamps the time of arrival.
type pump struct {
	link    link
	patient bool          // a full backlog waits instead of failing
	room    chan struct{} // holds a token when the backlog shrank
	done    chan struct{} // closed when the goroutine ended
	wake    chan struct{} // holds a token when pieces or err changed

	// Owned by next's caller.
	current []byte

	mu      sync.Mutex // guards what follows
	bytes   []byte
	pieces  []piece
	err     error
	closing bool
}

type piece struct {
	size int
	at   time.Time
}

func startPump(l link) *pump {
	return startPumpFor(l, false)
}

// startPumpFor makes a pump; a patient one stops reading while much waits, so that the
// sender must wait too.
func startPumpFor(l link, patient bool) *pump {
	p := &pump{link: l, patient: patient, done: make(chan struct{}), wake: make(chan struct{}, 1), room: make(chan struct{}, 1)}
	go p.run()
	return p
}

func (p *pump) run() {
	defer close(p.done)
	buffer := make([]byte, 4096)
	for {
		n := 0
		err := guard.Call("reading the link", func() (err error) { n, err = p.link.Read(buffer); return err })
		at := time.Now()
		p.mu.Lock()
		if n > 0 {
			p.bytes = append(p.bytes, buffer[:n]...)
			if k := len(p.pieces); k >= 1024 { // a reader that stalls: coarser stamps will do
				p.pieces[k-1].size += n
				p.pieces[k-1].at = at
			} else {
				p.pieces = append(p.pieces, piece{n, at})
			}
		}
		full := len(p.bytes) > maxBacklog
		if p.patient {
			full = len(p.bytes) > patientBacklog
		}
		if err == nil && full && !p.patient {
			err = errBacklog
		}
		if p.closing {
			err = errClosed
		}
		if err != nil {
			p.err = err
		}
		p.mu.Unlock()
		if n > 0 || err != nil {
			select {
			case p.wake <- struct{}{}:
			default:
			}
		}
		if err != nil {
			return
		}
		if full {
			<-p.room
		}
	}
}

// makeRoom lets a patient pump read on.
func (p *pump) makeRoom() {
	select {
	case p.room <- struct{}{}:
	default:
	}
}

// next returns the oldest piece that arrived and when, waiting at most so long;
// no bytes and no error when none came. Its bytes are valid until the next call.
// The link's error comes after the last piece.
func (p *pump) next(ctx context.Context, wait time.Duration) ([]byte, time.Time, error) {
	var timer *time.Timer
	for {
		p.mu.Lock()
		if p.closing {
			p.mu.Unlock()
			return nil, time.Time{}, errClosed
		}
		if len(p.pieces) > 0 {
			first := p.pieces[0]
			p.current = append(p.current[:0], p.bytes[:first.size]...)
			p.bytes = p.bytes[:copy(p.bytes, p.bytes[first.size:])]
			p.pieces = p.pieces[:copy(p.pieces, p.pieces[1:])]
			p.mu.Unlock()
			p.makeRoom()
			if timer != nil {
				timer.Stop()
			}
			return p.current, first.at, nil
		}
		err := p.err
		p.mu.Unlock()
		if err != nil {
			return nil, time.Time{}, err
		}
		if err := ctx.Err(); err != nil {
			return nil, time.Time{}, err
		}
		if wait <= 0 {
			return nil, time.Time{}, nil
		}
		if timer == nil {
			timer = time.NewTimer(wait)
			defer timer.Stop()
		}
		select {
		case <-p.wake:
		case <-timer.C:
			wait = 0
		case <-ctx.Done():
			return nil, time.Time{}, ctx.Err()
		}
	}
}

// drop forgets what arrives for so long.
func (p *pump) drop(ctx context.Context, long time.Duration) error {
	until := time.Now().Add(long)
	for {
		left := time.Until(until)
		if left <= 0 {
			return nil
		}
		if _, _, err := p.next(ctx, left); err != nil {
			return err
		}
	}
}

// close closes the link and waits for the goroutine. Once only.
func (p *pump) close() error {
	p.mu.Lock()
	p.closing = true
	p.mu.Unlock()
	p.makeRoom()
	err := p.link.Close()
	<-p.done
	return err
}

// port is a real serial port.
type port struct{ serial.Port }

func (p port) SetBaud(baud int) error {
	if err := p.SetMode(&serial.Mode{BaudRate: baud}); err != nil {
		return err
	}
	p.ResetInputBuffer() // best effort: what was garbled at the old rate
	return nil
}

// dial opens a real port, 8 data bits, no parity, one stop bit.
func dial(name string, baud int) (link, error) {
	p, err := serial.Open(name, &serial.Mode{BaudRate: baud})
	if err != nil {
		return nil, err
	}
	if err := p.SetReadTimeout(100 * time.Millisecond); err != nil {
		p.Close()
		return nil, err
	}
	return port{p}, nil
}
