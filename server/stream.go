package server

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire/guard"
	"pulsewright/server/hub"
)

// Subprotocol of the stream.
const Subprotocol = "pulsewright.v1"

// StatusLinkClosed ends the stream of a visitor whom the owner sent away, or whose sharing ended: there is
// no use in trying again at once.
const StatusLinkClosed websocket.StatusCode = 4401

var (
	errClosing    = errors.New("the program is closing")
	errLinkClosed = errors.New("the owner has closed your link: open it again later, or ask for a new one")
	// errSharingEnded is for a page that looks now and then whether it may come in again.
	errSharingEnded = errors.New("sharing is stopped: this page goes on by itself when it begins again")
)

const (
	// writeTimeout ends a page whose connection takes nothing for so long.
	writeTimeout = 30 * time.Second
	// pingEvery keeps middle boxes from closing a quiet stream and finds dead ones. A
	// page that is being sent something is watched by writeTimeout alone.
	pingEvery = 20 * time.Second
	// mostPings a page may send a second, on average over ten.
	mostPings = 10
)

// getStream serves one page's websocket. checkOrigin has seen the request.
func (s *Server) getStream(w http.ResponseWriter, r *http.Request) {
	who := accessOf(r)
	want, err := choose(r.URL.Query())
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	if v := who.visitor; v != nil {
		if !s.access.openStream(v) {
			fail(w, http.StatusTooManyRequests, fmt.Sprintf("%d pages are open under this link already: close some", mostStreams))
			return
		}
		defer s.access.closeStream(v)
	}
	shorten(r)
	// The origin was checked against Host already; both checks must pass.
	c, err := websocket.Accept(w, r, &websocket.AcceptOptions{Subprotocols: []string{Subprotocol}, CompressionMode: websocket.CompressionDisabled})
	if err != nil {
		s.log.Debug("stream refused", "err", err)
		return
	}
	var own sync.WaitGroup // goroutines of this connection
	defer own.Wait()
	defer c.CloseNow()
	c.SetReadLimit(4 << 10)
	life, end := context.WithCancel(r.Context()) // of the connection
	defer end()
	ctx, stop := context.WithCancelCause(life) // of the sending
	defer stop(nil)
	defer context.AfterFunc(s.stop, func() { stop(errClosing) })()
	if v := who.visitor; v != nil {
		defer context.AfterFunc(v.gone, func() { stop(context.Cause(v.gone)) })()
	}
	you, _ := json.Marshal(youMessage{who.role == Owner, "you"})
	if err := write(life, c, websocket.MessageText, you); err != nil {
		return
	}
	page := s.session.Watch()
	defer page.Close()
	s.presenter.join(page, who.role == Owner)
	defer s.presenter.leave(who.role == Owner)
	own.Go(func() { s.caught("reading a page", end, func() { s.readStream(life, end, c, page) }) })
	var writes atomic.Int64 // begun and done: odd while one is under way
	own.Go(func() { s.caught("a page's pings", end, func() { keepAlive(life, end, c, writes.Load) }) })
	send := func(kind websocket.MessageType, data []byte) bool {
		writes.Add(1)
		defer writes.Add(1)
		err := write(life, c, kind, data) // not ctx: cut off in the middle, no close frame could follow
		if err != nil {
			s.log.Debug("a page was given up", "err", err)
		}
		return err == nil
	}
	for {
		m, dropped, err := page.Next(ctx)
		if err == nil {
			err = ctx.Err() // what waits is not sent any more
		}
		if err != nil {
			c.Close(whyEnded(ctx, err))
			return
		}
		if dropped > 0 && !send(websocket.MessageText, droppedMessage(dropped)) {
			return
		}
		kind, data := websocket.MessageText, m.Data
		if m.Kind == hub.Frame {
			kind, data = websocket.MessageBinary, want.frame(data)
		} else if !want.text(data) {
			data = nil
		} else if who.role != Owner {
			data = forWatcher(data)
		}
		if data != nil && !send(kind, data) {
			return
		}
	}
}

// whyEnded is how a stream is closed when there is nothing more to send.
func whyEnded(ctx context.Context, err error) (websocket.StatusCode, string) {
	switch {
	case errors.Is(err, hub.ErrTooSlow):
		return websocket.StatusPolicyViolation, hub.ErrTooSlow.Error()
	case context.Cause(ctx) == errLinkClosed, context.Cause(ctx) == errSharingEnded:
		return StatusLinkClosed, context.Cause(ctx).Error()
	}
	return websocket.StatusGoingAway, errClosing.Error()
}

// caught does f for a connection; a fault of the program in it is logged and ends the
// connection alone.
func (s *Server) caught(what string, end context.CancelFunc, f func()) {
	err := guard.Call(what, func() error { f(); return nil })
	var fault *guard.Fault
	if errors.As(err, &fault) {
		s.log.Error("a fault of the program", "err", err, "stack", fault.Stack)
		end()
	}
}

func write(ctx context.Context, c *websocket.Conn, kind websocket.MessageType, data []byte) error {
	ctx, cancel := context.WithTimeout(ctx, writeTimeout)
	defer cancel()
	return c.Write(ctx, kind, data)
}

// The messages of the stream that are one page's own.
type (
	// youMessage tells a page what it may do, "you".
	youMessage struct {
		Owner bool   `json:"owner"`
		Type  string `json:"type"`
	}
	// lostMessage tells how many frames a page lost, "dropped".
	lostMessage struct {
		Type   string `json:"type"`
		Frames int64  `json:"frames"`
	}
	// pongMessage answers a page's ping, "pong".
	pongMessage struct {
		Type string          `json:"type"`
		ID   json.RawMessage `json:"id"`
	}
)

func droppedMessage(frames int64) []byte {
	data, _ := json.Marshal(lostMessage{"dropped", frames})
	return data
}

// readStream answers the page's pings and ends with the connection.
func (s *Server) readStream(ctx context.Context, cancel context.CancelFunc, c *websocket.Conn, page *hub.Client) {
	defer cancel()
	pings, since := 0, time.Now()
	for {
		_, data, err := c.Read(ctx)
		if err != nil {
			return
		}
		answer, ok := pong(data)
		if !ok {
			c.Close(websocket.StatusPolicyViolation, "a page may send ping only")
			return
		}
		if pings++; time.Since(since) > 10*time.Second {
			pings, since = 1, time.Now()
		}
		if pings > 10*mostPings {
			c.Close(websocket.StatusPolicyViolation, fmt.Sprintf("more than %d pings a second", mostPings))
			return
		}
		page.Send(hub.Message{Kind: hub.Text, Data: answer})
	}
}

// pong answers a page's ping, the only message a page may send.
func pong(ping []byte) (answer []byte, ok bool) {
	var m pongMessage
	if json.Unmarshal(ping, &m) != nil || m.Type != "ping" || len(m.ID) > 32 {
		return nil, false
	}
	if m.ID == nil {
		m.ID = json.RawMessage("null")
	}
	m.Type = "pong"
	answer, err := json.Marshal(m)
	return answer, err == nil
}

// keepAlive pings a connection unless writes tells that something is being sent.
func keepAlive(ctx context.Context, cancel context.CancelFunc, c *websocket.Conn, writes func() int64) {
	t := time.NewTicker(pingEvery)
	defer t.Stop()
	last := int64(0)
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			if n := writes(); n != last || n%2 == 1 {
				last = n
				continue
			}
			ping, done := context.WithTimeout(ctx, pingEvery)
			err := c.Ping(ping)
			done()
			if err != nil {
				cancel()
				return
			}
		}
	}
}
