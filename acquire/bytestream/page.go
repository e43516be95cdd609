package bytestream

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/serialport"
)

// PagePath is the path of addresses of a port of the computer that shows the page:
// serial:browser, or serial:browser/ and the port's name.
const PagePath = "browser"

// SplitPage tells whether an address's path means a page's port, and that port's name
// ("" for whichever comes).
func SplitPage(path string) (device string, ok bool) {
	if path == PagePath {
		return "", true
	}
	return strings.CutPrefix(path, PagePath+"/")
}

const (
	// MaxPageBytes is the longest message a page may send.
	MaxPageBytes = 32 << 10
	// pageQueue is how many messages may wait for the source.
	pageQueue = 64
	// pagePatience is how long an opening waits for a page that sends.
	pagePatience = 3 * time.Second
	// openPatience is how long a page may take to open its port.
	openPatience = 8 * time.Second
)

// ErrPage is wrapped by what is wrong with what a page sends of its port.
var ErrPage = errors.New("bytestream: a port through a page")

// Order is what a page is asked to do: open its port, anew where it is open, at a baud
// rate. What it sends after that carries the order's number.
type Order struct {
	Type string `json:"type"` // open
	ID   uint32 `json:"id"`
	Baud int    `json:"baud"`
}

// Pages brings the pages that send a port's bytes and the sources that want them
// together. Safe for concurrent use.
type Pages struct {
	mu   sync.Mutex
	port *PagePort
	news chan struct{} // closed and replaced when a page comes
}

// NewPages returns a Pages that no page sends to yet.
func NewPages() *Pages { return &Pages{news: make(chan struct{})} }

// PagePort is one page's port.
type PagePort struct {
	device string
	queue  chan pagePiece
	orders chan Order
	ended  chan struct{}

	mu       sync.Mutex // guards what follows
	id       uint32     // of the newest order
	answers  chan error // of that order; nil once it came
	reason   string
	users    int
	released time.Time
	lost     int64 // bytes that nobody took in time
}

type pagePiece struct {
	id    uint32
	bytes []byte
}

// Attach takes a page that greets with its port's name. A page before it is told to end.
func (p *Pages) Attach(device string) (*PagePort, error) {
	clean := strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '?' || r == '\ufffd' { // ? begins an address's options
			return ' '
		}
		return r
	}, device)), " ")
	if clean == "" || len(clean) > 100 {
		return nil, fmt.Errorf("%w: a name of %d bytes; give 1 to 100", ErrPage, len(clean))
	}
	port := &PagePort{device: clean, queue: make(chan pagePiece, pageQueue), orders: make(chan Order, 1), ended: make(chan struct{}), released: time.Now()}
	p.mu.Lock()
	before := p.port
	p.port = port
	close(p.news)
	p.news = make(chan struct{})
	p.mu.Unlock()
	if before != nil {
		before.End("another page sends its port now")
	}
	return port, nil
}

// Detach forgets a port that has ended.
func (p *Pages) Detach(port *PagePort) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.port == port {
		p.port = nil
	}
}

// Open is the acquire.Opener of addresses with PagePath; options as for a serial port.
// It waits three seconds for a page that sends; the error when none does wraps
// acquire.ErrUnplugged.
func (p *Pages) Open(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	device, _ := SplitPage(a.Path)
	return serialport.OpenBy(ctx, a, func(_ string, baud int) (serialport.Link, error) {
		port, err := p.find(ctx, device)
		if err != nil {
			return nil, err
		}
		l := port.link()
		if err := l.SetBaud(baud); err != nil {
			l.Close()
			return nil, err
		}
		return l, nil
	})
}

// find waits for a page with a port of that name.
func (p *Pages) find(ctx context.Context, device string) (*PagePort, error) {
	wait := time.NewTimer(pagePatience)
	defer wait.Stop()
	for {
		p.mu.Lock()
		port, news := p.port, p.news
		p.mu.Unlock()
		if port != nil && (device == "" || device == port.device) {
			select {
			case <-port.ended:
			default:
				return port, nil
			}
		}
		select {
		case <-news:
		case <-wait.C:
			return nil, fmt.Errorf("no page sends this port: %w; open the page in the browser of the computer with the board, and choose the port under Source", acquire.ErrUnplugged)
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// Push takes the bytes of one message: the order's number, 32 bits little-endian, and
// what came from the port. Errors wrap ErrPage and mean that the page must be cut off.
func (p *PagePort) Push(data []byte) error {
	if len(data) < 5 || len(data) > MaxPageBytes {
		return fmt.Errorf("%w: a message of %d bytes; 5 to %d, the first four the number of the opening", ErrPage, len(data), MaxPageBytes)
	}
	piece := pagePiece{binary.LittleEndian.Uint32(data), append([]byte(nil), data[4:]...)}
	select {
	case p.queue <- piece:
	default: // nobody reads
		p.mu.Lock()
		if p.users > 0 {
			p.lost += int64(len(piece.bytes))
		}
		p.mu.Unlock()
	}
	return nil
}

// Answer takes the page's answer to an order: text is empty when the port is open.
func (p *PagePort) Answer(id uint32, text string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if id != p.id || p.answers == nil {
		return
	}
	var err error
	if text != "" {
		err = errors.New(text)
	}
	p.answers <- err // has room for the one
	p.answers = nil
}

// Orders gives what the page is asked to do.
func (p *PagePort) Orders() <-chan Order { return p.orders }

// End ends the port, with the reason in words; may be called more than once.
func (p *PagePort) End(reason string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	select {
	case <-p.ended:
	default:
		p.reason = reason
		close(p.ended)
	}
}

// Ended is closed when the port has ended.
func (p *PagePort) Ended() <-chan struct{} { return p.ended }

// Reason tells why the port ended.
func (p *PagePort) Reason() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.reason
}

// Idle tells for how long no source has wanted the port.
func (p *PagePort) Idle() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.users > 0 {
		return 0
	}
	return time.Since(p.released)
}

func (p *PagePort) link() *pageLink {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.users++
	return &pageLink{port: p, closed: make(chan struct{})}
}

// pageLink is one source's hold on a page's port.
type pageLink struct {
	port   *PagePort
	closed chan struct{}
	once   sync.Once

	mu   sync.Mutex
	id   uint32 // of the opening whose bytes are read
	rest []byte // owned by Read
}

// SetBaud has the page open its port at a baud rate, and waits until it has.
func (l *pageLink) SetBaud(baud int) error {
	p := l.port
	answer := make(chan error, 1)
	p.mu.Lock()
	p.id++
	id := p.id
	p.answers = answer
	select {
	case <-p.orders: // one that nobody has carried out is out of date
	default:
	}
	p.orders <- Order{"open", id, baud} // has room: only this sends, under the lock
	p.mu.Unlock()
	l.mu.Lock()
	l.id = id
	l.mu.Unlock()
	wait := time.NewTimer(openPatience)
	defer wait.Stop()
	select {
	case err := <-answer:
		return err
	case <-p.ended:
		return fmt.Errorf("%w (%s)", acquire.ErrUnplugged, p.Reason())
	case <-l.closed:
		return os.ErrClosed
	case <-wait.C:
		return fmt.Errorf("the page has not opened its port in %g s; look at it, it may ask something", openPatience.Seconds())
	}
}

// Read implements io.Reader. It gives the bytes since the newest opening.
func (l *pageLink) Read(b []byte) (int, error) {
	for len(l.rest) == 0 {
		var piece pagePiece
		select {
		case piece = <-l.port.queue: // what came is read before the end is told
		default:
			select {
			case piece = <-l.port.queue:
			case <-l.port.ended:
				return 0, errors.New(l.port.Reason())
			case <-l.closed:
				return 0, os.ErrClosed
			}
		}
		l.mu.Lock()
		if piece.id == l.id {
			l.rest = piece.bytes
		}
		l.mu.Unlock()
	}
	n := copy(b, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

func (l *pageLink) Close() error {
	l.once.Do(func() {
		close(l.closed)
		l.port.mu.Lock()
		l.port.users--
		l.port.released = time.Now()
		l.port.mu.Unlock()
	})
	return nil
}
