package server

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"sync"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire/bytestream"
)

// SerialSubprotocol is that of a page that sends what it reads from a serial port.
const SerialSubprotocol = "pulsewright.serial.v1"

// getSerial takes a serial port of the computer that shows the owner's page. It
// changes what the session sees, so a watcher may not, though it is a GET. checkOrigin
// has seen the request.
func (s *Server) getSerial(w http.ResponseWriter, r *http.Request) {
	if s.ports == nil {
		fail(w, http.StatusNotFound, "this program takes no port from the page")
		return
	}
	c, ctx, cancel := s.acceptFromOwner(w, r, "a port", SerialSubprotocol)
	if c == nil {
		return
	}
	var own sync.WaitGroup // goroutines of this connection
	defer own.Wait()
	defer cancel()
	c.SetReadLimit(bytestream.MaxPageBytes)
	port, err := s.greetSerial(ctx, c)
	if err != nil {
		c.Close(websocket.StatusPolicyViolation, short(err.Error()))
		return
	}
	defer s.ports.Detach(port)
	defer port.End("the page that sent the port was closed, loaded anew or lost its connection")
	own.Go(func() { s.caught("watching a page", cancel, func() { watchSerial(ctx, cancel, c, port) }) })
	own.Go(func() {
		s.caught("a page's pings", cancel, func() { keepAlive(ctx, cancel, c, func() int64 { return 0 }) })
	})
	for {
		if err := readSerial(ctx, c, port); err != nil {
			if errors.Is(err, bytestream.ErrPage) {
				port.End(err.Error())
				c.Close(websocket.StatusPolicyViolation, short(err.Error()))
			}
			return
		}
	}
}

// greetSerial waits for the page's greeting and answers it.
func (s *Server) greetSerial(ctx context.Context, c *websocket.Conn) (*bytestream.PagePort, error) {
	hello, cancel := context.WithTimeout(ctx, helloTimeout)
	defer cancel()
	kind, data, err := c.Read(hello)
	if err != nil {
		return nil, err
	}
	var h struct {
		Device string `json:"device"`
	}
	if kind != websocket.MessageText || json.Unmarshal(data, &h) != nil {
		return nil, errors.New("greet with JSON first: device")
	}
	port, err := s.ports.Attach(h.Device)
	if err != nil {
		return nil, err
	}
	return port, write(ctx, c, websocket.MessageText, []byte(`{"type":"ready"}`))
}

// readSerial takes one message. A page says that it is alive, since a board may be silent.
func readSerial(ctx context.Context, c *websocket.Conn, port *bytestream.PagePort) error {
	ctx, cancel := context.WithTimeout(ctx, audioSilence)
	defer cancel()
	kind, data, err := c.Read(ctx)
	if err != nil {
		return err
	}
	if kind == websocket.MessageBinary {
		return port.Push(data)
	}
	var m struct {
		Type string `json:"type"` // opened, failed, end, alive
		ID   uint32 `json:"id"`
		Text string `json:"text"`
	}
	if json.Unmarshal(data, &m) != nil || len(m.Text) > 500 {
		return bytestream.ErrPage
	}
	switch m.Type {
	case "opened":
		port.Answer(m.ID, "")
	case "failed":
		port.Answer(m.ID, "the page cannot open its port: "+m.Text)
	case "end":
		port.End(m.Text)
		return errors.New("ended by the page")
	case "alive":
	default:
		return bytestream.ErrPage
	}
	return nil
}

// watchSerial passes orders on to the page, and tells it when its port is no longer wanted.
func watchSerial(ctx context.Context, cancel context.CancelFunc, c *websocket.Conn, port *bytestream.PagePort) {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	defer cancel()
	for {
		select {
		case <-ctx.Done():
			c.Close(websocket.StatusGoingAway, "the program is closing")
			return
		case <-port.Ended():
			c.Close(websocket.StatusNormalClosure, short(port.Reason()))
			return
		case o := <-port.Orders():
			data, err := json.Marshal(o)
			if err != nil || write(ctx, c, websocket.MessageText, data) != nil {
				return
			}
		case <-t.C:
			if port.Idle() > audioIdle {
				port.End("another source was chosen")
			}
		}
	}
}
