package server

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
)

// onlyTexts are no frames at all but ten messages.
const onlyTexts = 1 << 30

// listen reads a stream until it has so many live frames; it returns them by their sequence number, and
// the JSON messages.
func listen(t *testing.T, h *httptest.Server, query string, frames int) (map[uint32][]byte, []string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(h.URL, "http")+"/api/v1/stream?"+query, &websocket.DialOptions{Subprotocols: []string{Subprotocol}})
	if err != nil {
		t.Fatal(err)
	}
	defer c.CloseNow()
	c.SetReadLimit(64 << 20)
	live := map[uint32][]byte{}
	var texts []string
	for len(live) < frames {
		kind, data, err := c.Read(ctx)
		if err != nil {
			t.Fatalf("%q after %d frames: %v", query, len(live), err)
		}
		if kind == websocket.MessageText {
			if texts = append(texts, string(data)); frames == onlyTexts && len(texts) > 10 {
				break
			}
		} else if n := binary.LittleEndian.Uint32(data[4:]); n > 0 {
			live[n] = data
		}
	}
	return live, texts
}

// TestStreamOfWhatIsChosen: frames of chosen channels and points are the parts of the whole ones, bit for bit, in the
// order asked for; messages of other channels do not come.
func TestStreamOfWhatIsChosen(t *testing.T) {
	_, h := demoServerOf(t, "demo:both")
	type got struct {
		frames map[uint32][]byte
		texts  []string
	}
	whole := make(chan got, 1)
	go func() {
		f, x := listen(t, h, "", 150)
		whole <- got{f, x}
	}()
	part, texts := listen(t, h, "channels=1,7,0&points=smooth,scale", 110)
	all := <-whole
	compared := 0
	for n, p := range part {
		w, ok := all.frames[n]
		if !ok {
			continue
		}
		samples := int(binary.LittleEndian.Uint32(w[16:]))
		series := func(channel, point int) []byte {
			at := 40 + 4*samples*(5*channel+point)
			return w[at : at+4*samples]
		}
		want := append([]byte{}, w[:40]...)
		want[20], want[22] = 2, 2
		for _, s := range [][]byte{series(1, 3), series(1, 0), series(0, 3), series(0, 0)} {
			want = append(want, s...)
		}
		copy(want[36:40], p[36:40]) // how old it is
		if !bytes.Equal(p, want) {
			t.Fatalf("frame %d is not that part of the whole", n)
		}
		compared++
	}
	if compared < 30 {
		t.Errorf("only %d frames were compared", compared)
	}
	if !anyOf(texts, 0) || !anyOf(texts, 1) {
		t.Error("readings of chosen channels are missing")
	}
	_, texts = listen(t, h, "channels=1", 90)
	if anyOf(texts, 0) || !anyOf(texts, 1) {
		t.Error("with one channel chosen, messages of the other come or its own do not")
	}
	if frames, texts := listen(t, h, "points=none", onlyTexts); len(frames) > 0 || !anyOf(texts, 0) {
		t.Error("frames come that nobody wants")
	}
	for _, q := range []string{"channels=a", "channels=-1", "channels=0,0", "channels=1000", "points=raw", "points=scale,scale", "points=,"} {
		values, _ := url.ParseQuery(q)
		if _, err := choose(values); err == nil || !strings.HasPrefix(err.Error(), strings.SplitN(q, "=", 2)[0]) {
			t.Errorf("%s: %v", q, err)
		}
		if status, body := request(t, h, "GET", "/api/v1/stream?"+q, "", nil); status != 400 {
			t.Errorf("%s: status %d, %s", q, status, body)
		}
	}
}

// anyOf tells that a message is of a channel.
func anyOf(texts []string, channel int) bool {
	for _, text := range texts {
		var m struct {
			Channel *int `json:"channel"`
		}
		if json.Unmarshal([]byte(text), &m) == nil && m.Channel != nil && *m.Channel == channel {
			return true
		}
	}
	return false
}
