package server

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/coder/websocket"

	"pulsewright/acquire"
	"pulsewright/acquire/soundcard"
)

func dialAudio(t *testing.T, h *httptest.Server, headers http.Header) (*websocket.Conn, int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	c, response, err := websocket.Dial(ctx, h.URL+"/api/v1/audio", &websocket.DialOptions{HTTPHeader: headers, Subprotocols: []string{AudioSubprotocol}})
	if err == nil {
		t.Cleanup(func() { _ = c.CloseNow() })
		return c, response.StatusCode
	}
	if response == nil {
		t.Fatal(err)
	}
	return nil, response.StatusCode
}

func audioServer(t *testing.T) (*Server, *httptest.Server) {
	t.Helper()
	s, h := demoServer(t)
	s.audio = soundcard.NewBrowser()
	return s, h
}

const hello = `{"device":"lamp clip","rateHz":8000,"channels":1}`

func say(t *testing.T, c *websocket.Conn, kind websocket.MessageType, data []byte) {
	t.Helper()
	if err := c.Write(context.Background(), kind, data); err != nil {
		t.Fatal(err)
	}
}

func hear(c *websocket.Conn) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	_, data, err := c.Read(ctx)
	return string(data), err
}

func TestOnlyTheOwnersOwnPageSendsSound(t *testing.T) {
	s, h := audioServer(t)
	if c, status := dialAudio(t, h, http.Header{"Origin": {"http://elsewhere.example"}}); c != nil || status != 403 {
		t.Errorf("a foreign origin got %d, want 403", status)
	}
	far := away(t, s)
	if c, status := dialAudio(t, far, nil); c != nil || status != 401 {
		t.Errorf("a stranger got %d, want 401", status)
	}
	watcher := enter(t, far, s.access.Key(Watcher))
	if c, status := dialAudio(t, far, http.Header{"Cookie": {watcher.Name + "=" + watcher.Value}}); c != nil || status != 403 {
		t.Errorf("a watcher got %d, want 403", status)
	}
	owner := enter(t, far, s.access.Key(Owner))
	c, _ := dialAudio(t, far, http.Header{"Cookie": {owner.Name + "=" + owner.Value}})
	if c == nil {
		t.Fatal("the owner's page was refused")
	}
	say(t, c, websocket.MessageText, []byte(hello))
	if got, err := hear(c); got != `{"type":"ready"}` {
		t.Fatalf("the greeting was answered by %q, %v", got, err)
	}
	s.access.Renew(Owner) // the old link ends, and with it what came by it
	if _, err := hear(c); err == nil {
		t.Error("the link was renewed and its page may still send")
	}
}

func TestSoundFromThePage(t *testing.T) {
	s, h := audioServer(t)
	c, _ := dialAudio(t, h, http.Header{"Origin": {h.URL}})
	if c == nil {
		t.Fatal("refused")
	}
	say(t, c, websocket.MessageText, []byte(hello))
	if _, err := hear(c); err != nil {
		t.Fatal(err)
	}
	a, _ := acquire.ParseAddress("sound:browser/lamp clip")
	source, err := s.audio.Open(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	frame := append([]byte{'P', 'A', 1, 1}, make([]byte, 28+4*80)...)
	binary.LittleEndian.PutUint64(frame[16:], math.Float64bits(8000))
	binary.LittleEndian.PutUint32(frame[24:], 80)
	binary.LittleEndian.PutUint32(frame[32+4*79:], math.Float32bits(-0.25))
	say(t, c, websocket.MessageBinary, frame)
	b, err := source.Read(context.Background())
	if err != nil || b.Len() != 80 || b.Counts[0][79] != -1<<21 {
		t.Fatalf("block %+v, %v; want 80 samples, the last one a quarter of 2^23 below zero", b, err)
	}
	say(t, c, websocket.MessageText, []byte(`{"type":"end","text":"the audio input was unplugged"}`))
	for {
		if _, err = source.Read(context.Background()); err != nil {
			break
		}
	}
	if !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "the audio input was unplugged") {
		t.Errorf("%v, want an unplug in the page's words", err)
	}
}

func TestBadSoundIsCutOff(t *testing.T) {
	_, h := audioServer(t)
	for name, messages := range map[string][]string{
		"no greeting":      {`PA`},
		"a wrong greeting": {`{"device":"x","rateHz":1,"channels":1}`},
		"a wrong frame":    {hello, "\x00"},
		"a wrong word":     {hello, `{"type":"delete"}`},
	} {
		c, _ := dialAudio(t, h, nil)
		for i, m := range messages {
			kind := websocket.MessageText
			if i > 0 && m[0] != '{' {
				kind = websocket.MessageBinary
			}
			say(t, c, kind, []byte(m))
		}
		var err error
		for err == nil {
			_, err = hear(c)
		}
		if websocket.CloseStatus(err) != websocket.StatusPolicyViolation {
			t.Errorf("%s: closed with %v, want a policy violation", name, err)
		}
	}
}

// TestReasonsFitACloseFrame: at most 123 bytes (RFC 6455, section 5.5: 125 with the
// code), of whole characters, since a browser drops a close frame that is no UTF-8.
func TestReasonsFitACloseFrame(t *testing.T) {
	for _, text := range []string{"", "the input was closed", strings.Repeat("x", 124), strings.Repeat("é", 100), strings.Repeat("√", 100), strings.Repeat("𝄞", 100)} {
		got := short(text)
		if len(got) > 123 || !utf8.ValidString(got) || !strings.HasPrefix(text, got) || len(text) > 123 && len(got) < 120 {
			t.Errorf("%d bytes became %d: %q", len(text), len(got), got)
		}
	}
}
