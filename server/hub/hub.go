// Package hub hands messages to the pages that are watching. Every page has a
// bounded queue of its own: a slow page loses its oldest frames, is told how
// many, and never holds up the sender or another page.
//
// All methods are safe for concurrent use.
package hub

import (
	"context"
	"errors"
	"sync"
)

// Kind says how a message may be treated.
type Kind uint8

const (
	// Frame is binary and may be dropped when the page is slow.
	Frame Kind = iota
	// Text is JSON and is kept; a page that lets MaxTexts of them pile up is cut off.
	Text
)

// Message is shared by all pages: nobody changes Data after sending.
type Message struct {
	Kind Kind
	Data []byte
	// Newest, unless "", names a Text of which only the newest matters: it takes the place
	// of one of that name that still waits.
	Newest string
}

// MaxTexts is how many JSON messages may wait for one page. At about ten a
// second it stands for minutes without a single read.
const MaxTexts = 4096

// ErrTooSlow ends a page that stopped reading, ErrClosed one whose hub or
// subscription was closed.
var (
	ErrTooSlow = errors.New("the page stopped reading")
	ErrClosed  = errors.New("the stream was closed")
)

// Hub is the list of pages.
type Hub struct {
	frames int // immutable: frames that may wait for one page

	// Guarded by mu.
	mu      sync.Mutex
	clients map[*Client]struct{}
	closed  bool
	dropped int64
}

// New returns a hub whose pages may each have frames frames waiting.
func New(frames int) *Hub {
	if frames < 1 {
		panic("hub: a queue needs room for a frame")
	}
	return &Hub{frames: frames, clients: map[*Client]struct{}{}}
}

// Client is one page's queue.
type Client struct {
	hub  *Hub
	wake chan struct{}

	// Guarded by mu.
	mu      sync.Mutex
	queue   []Message
	head    int
	frames  int
	texts   int
	dropped int64
	err     error
}

// Subscribe adds a page. first messages are queued before anything else.
func (h *Hub) Subscribe(first ...Message) *Client {
	c := &Client{hub: h, wake: make(chan struct{}, 1)}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		c.err = ErrClosed
		return c
	}
	for _, m := range first {
		c.queue = append(c.queue, m)
		c.count(m, 1)
	}
	h.clients[c] = struct{}{}
	return c
}

// Send queues a message for every page.
func (h *Hub) Send(m Message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.clients {
		c.push(m, h.frames)
	}
}

// Watchers returns how many pages are subscribed.
func (h *Hub) Watchers() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.clients)
}

// Dropped returns how many frames all pages together have lost so far.
func (h *Hub) Dropped() int64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.dropped
}

// Waiting returns how many frames wait for the slowest page.
func (h *Hub) Waiting() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	most := 0
	for c := range h.clients {
		c.mu.Lock()
		most = max(most, c.frames)
		c.mu.Unlock()
	}
	return most
}

// Close ends every page's stream after what is queued already.
func (h *Hub) Close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	for c := range h.clients {
		c.end(ErrClosed)
	}
	clear(h.clients)
}

func (c *Client) count(m Message, by int) {
	if m.Kind == Frame {
		c.frames += by
	} else {
		c.texts += by
	}
}

// push is called with the hub locked.
func (c *Client) push(m Message, limit int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err != nil {
		return
	}
	if m.Newest != "" {
		for i := len(c.queue) - 1; i >= c.head; i-- {
			if c.queue[i].Newest == m.Newest {
				c.queue[i] = m
				return
			}
		}
	}
	if m.Kind == Frame && c.frames >= limit {
		for i := c.head; i < len(c.queue); i++ {
			if c.queue[i].Kind == Frame {
				copy(c.queue[c.head+1:i+1], c.queue[c.head:i]) // texts before it keep their order
				c.queue[c.head] = Message{}
				c.head++
				c.frames--
				c.dropped++
				c.hub.dropped++
				break
			}
		}
	}
	if m.Kind == Text && c.texts >= MaxTexts {
		c.err = ErrTooSlow
		c.queue, c.head = nil, 0
	} else {
		if c.head > 0 && len(c.queue) == cap(c.queue) {
			n := copy(c.queue, c.queue[c.head:])
			clear(c.queue[n:])
			c.queue, c.head = c.queue[:n], 0
		}
		c.queue = append(c.queue, m)
		c.count(m, 1)
	}
	c.signal()
}

func (c *Client) end(err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err == nil {
		c.err = err
	}
	c.signal()
}

func (c *Client) signal() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// Next waits for the page's next message. dropped is how many frames the page
// has lost since the last call. The error is ErrClosed, ErrTooSlow or ctx's.
func (c *Client) Next(ctx context.Context) (m Message, dropped int64, err error) {
	for {
		c.mu.Lock()
		if c.head < len(c.queue) {
			m = c.queue[c.head]
			c.queue[c.head] = Message{}
			c.head++
			if c.head == len(c.queue) {
				c.queue, c.head = c.queue[:0], 0
			}
			c.count(m, -1)
			dropped, c.dropped = c.dropped, 0
			c.mu.Unlock()
			return m, dropped, nil
		}
		err = c.err
		c.mu.Unlock()
		if err != nil {
			return Message{}, 0, err
		}
		select {
		case <-c.wake:
		case <-ctx.Done():
			return Message{}, 0, ctx.Err()
		}
	}
}

// Send queues a message for this page alone.
func (c *Client) Send(m Message) {
	c.hub.mu.Lock()
	defer c.hub.mu.Unlock()
	c.push(m, c.hub.frames)
}

// Close ends this page's stream. It may be called twice.
func (c *Client) Close() {
	c.hub.mu.Lock()
	delete(c.hub.clients, c)
	c.hub.mu.Unlock()
	c.end(ErrClosed)
}
