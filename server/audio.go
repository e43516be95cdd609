package server

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire/soundcard"
	"pulsewright/server/session"
)

// AudioSubprotocol is that of a page that sends sound.
const AudioSubprotocol = "pulsewright.audio.v1"

const (
	// helloTimeout is how soon a page must greet.
	helloTimeout = 10 * time.Second
	// audioIdle is how long an audio input stays open that no source wants: a change
	// of its options closes it and opens it again.
	audioIdle = 5 * time.Second
	// audioSilence is how long nothing may come.
	audioSilence = 10 * time.Second
)

// getAudio takes the sound of the owner's page. It changes what the session sees,
// so a watcher may not, though it is a GET. checkOrigin has seen the request.
func (s *Server) getAudio(w http.ResponseWriter, r *http.Request) {
	if s.audio == nil {
		fail(w, http.StatusNotFound, "this program takes no sound from the page")
		return
	}
	c, ctx, cancel := s.acceptFromOwner(w, r, "sound", AudioSubprotocol)
	if c == nil {
		return
	}
	var own sync.WaitGroup // goroutines of this connection
	defer own.Wait()
	defer cancel()
	c.SetReadLimit(soundcard.MaxFrameBytes)
	feed, err := s.greetAudio(ctx, c)
	if err != nil {
		c.Close(websocket.StatusPolicyViolation, short(err.Error()))
		return
	}
	defer s.audio.Detach(feed)
	defer feed.End("the page that sent the sound was closed, loaded anew or lost its connection")
	own.Go(func() { s.caught("watching a page", cancel, func() { s.watchAudio(ctx, cancel, c, feed) }) })
	own.Go(func() {
		s.caught("a page's pings", cancel, func() { keepAlive(ctx, cancel, c, func() int64 { return 0 }) })
	})
	for {
		if err := s.readAudio(ctx, c, feed); err != nil {
			if errors.Is(err, soundcard.ErrFrame) {
				feed.End(err.Error())
				c.Close(websocket.StatusPolicyViolation, short(err.Error()))
			}
			return
		}
	}
}

// acceptFromOwner opens a websocket by which the owner's page sends something, what;
// nil when it was refused. cancel closes it; the context ends with the server, the
// visitor's right, or cancel.
func (s *Server) acceptFromOwner(w http.ResponseWriter, r *http.Request, what, subprotocol string) (*websocket.Conn, context.Context, context.CancelFunc) {
	who := accessOf(r)
	if who.role != Owner {
		fail(w, http.StatusForbidden, "this is a watch-only page: only the owner can send "+what)
		return nil, nil, nil
	}
	c, err := websocket.Accept(w, r, &websocket.AcceptOptions{Subprotocols: []string{subprotocol}, CompressionMode: websocket.CompressionDisabled})
	if err != nil {
		s.log.Debug(what+" refused", "err", err)
		return nil, nil, nil
	}
	if c.Subprotocol() != subprotocol {
		c.Close(websocket.StatusPolicyViolation, "ask for the subprotocol "+subprotocol)
		return nil, nil, nil
	}
	ctx, cancel := context.WithCancel(r.Context())
	stops := []func() bool{context.AfterFunc(s.stop, cancel)}
	if v := who.visitor; v != nil {
		stops = append(stops, context.AfterFunc(v.gone, cancel))
	}
	return c, ctx, func() {
		cancel()
		for _, stop := range stops {
			stop()
		}
		c.CloseNow()
	}
}

// postCalibration measures a sound input's level or coupling.
func (s *Server) postCalibration(w http.ResponseWriter, r *http.Request) {
	var body session.Calibration
	if !ReadJSON(w, r, &body) {
		return
	}
	out, err := s.session.Calibrate(r.Context(), channelOf(r), body)
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, out)
}

// short cuts a sentence to what a close frame holds: 123 bytes of UTF-8 (RFC 6455,
// section 5.5), whole characters.
func short(text string) string {
	const most = 123
	if len(text) > most {
		text = text[:most]
	}
	return strings.ToValidUTF8(text, "")
}

// greetAudio waits for the page's greeting and answers it.
func (s *Server) greetAudio(ctx context.Context, c *websocket.Conn) (*soundcard.Feed, error) {
	hello, cancel := context.WithTimeout(ctx, helloTimeout)
	defer cancel()
	kind, data, err := c.Read(hello)
	if err != nil {
		return nil, err
	}
	var h soundcard.Hello
	if kind != websocket.MessageText || json.Unmarshal(data, &h) != nil {
		return nil, errors.New("greet with JSON first: device, rateHz, channels")
	}
	feed, err := s.audio.Attach(h)
	if err != nil {
		return nil, err
	}
	return feed, write(ctx, c, websocket.MessageText, []byte(`{"type":"ready"}`))
}

// readAudio takes one message.
func (s *Server) readAudio(ctx context.Context, c *websocket.Conn, feed *soundcard.Feed) error {
	ctx, cancel := context.WithTimeout(ctx, audioSilence)
	defer cancel()
	kind, data, err := c.Read(ctx)
	if err != nil {
		return err
	}
	if kind == websocket.MessageBinary {
		return feed.Push(data, time.Now())
	}
	var m struct {
		Type string `json:"type"` // say, end
		Text string `json:"text"`
	}
	if json.Unmarshal(data, &m) != nil || len(m.Text) > 500 {
		return soundcard.ErrFrame
	}
	switch m.Type {
	case "say":
		feed.Say(m.Text)
	case "end":
		feed.End(m.Text)
		return errors.New("ended by the page")
	case "alive": // the input is open, though it gives no samples just now
	default:
		return soundcard.ErrFrame
	}
	return nil
}

// watchAudio tells the page when its sound is no longer wanted.
func (s *Server) watchAudio(ctx context.Context, cancel context.CancelFunc, c *websocket.Conn, feed *soundcard.Feed) {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	defer cancel()
	for {
		select {
		case <-ctx.Done():
			c.Close(websocket.StatusGoingAway, "the program is closing")
			return
		case <-feed.Ended():
			c.Close(websocket.StatusNormalClosure, short(feed.Reason()))
			return
		case <-t.C:
			if feed.Idle() > audioIdle {
				feed.End("another source was chosen")
			}
		}
	}
}
