package server

import (
	"context"
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"github.com/coder/websocket"

	"pulsewright/server/hub"
)

const presented = `{"on":true,"by":"page-1","frozen":{"epoch":1,"end":700},"secondsAcross":4,"lanes":[{"channel":0,"point":0},{"channel":0,"point":3}],"typical":true,"pointer":{"on":"traces","x":0.25,"y":0.5},"line":"look at the notch"}`

// nextPresenter reads a stream up to its next message `presenter`.
func nextPresenter(t *testing.T, c *websocket.Conn) Presentation {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	for {
		kind, data, err := c.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		var m struct {
			Type string
			Presentation
		}
		if kind == websocket.MessageText && json.Unmarshal(data, &m) == nil && m.Type == "presenter" {
			return m.Presentation
		}
	}
}

// TestPresenterReachesThoseThereAndThoseWhoCome: what is put reaches a page that is open and
// one that opens later, whole; what is wrong is refused with the rule and changes nothing.
func TestPresenterReachesThoseThereAndThoseWhoCome(t *testing.T) {
	h := demo(t)
	early, _, err := dial(t, h, nil)
	if err != nil {
		t.Fatal(err)
	}
	put := func(body string) int {
		code, answer := request(t, h, "PUT", "/api/v1/presenter", body, map[string]string{"Content-Type": "application/json"})
		t.Logf("%d %s", code, answer)
		return code
	}
	if code := put(presented); code != http.StatusOK {
		t.Fatalf("%d, want 200", code)
	}
	for _, bad := range []string{`{"on":true,"secondsAcross":0,"lanes":[{"channel":0,"point":0}]}`, `{"on":true,"secondsAcross":1,"lanes":[]}`, `{"on":true,"secondsAcross":1,"lanes":[{"channel":0,"point":5}]}`,
		`{"on":true,"secondsAcross":1,"lanes":[{"channel":-1,"point":0}]}`, `{"on":true,"secondsAcross":1,"lanes":[{"channel":0,"point":0}],"pointer":{"on":"traces","x":2,"y":0}}`,
		`{"on":true,"secondsAcross":1,"lanes":[{"channel":0,"point":0}],"pointer":{"on":"wall","x":1,"y":0}}`, `{"on":true,"secondsAcross":1,"lanes":[{"channel":0,"point":0}],"frozen":{"epoch":1,"end":-1}}`,
		`{"on":false,"line":"\u202eturned"}`, `{"on":true,"secondsAcross":1,"lanes":[{"channel":99,"point":0}]}`, `{"on":true,"secondsAcross":1,"lanes":[{"channel":0,"point":0},{"channel":0,"point":0}]}`,
		`{"on":true,"secondsAcross":1,"lanes":[{"channel":0,"point":0}],"frozen":{"epoch":1,"end":1e12}}`, `{"on":true,"secondsAcross":1,"lanes":[{"channel":0,"point":0},{"channel":0,"point":1},{"channel":0,"point":2},{"channel":0,"point":3}]}`} {
		if code := put(bad); code != http.StatusBadRequest {
			t.Errorf("%s: %d, want 400", bad, code)
		}
	}
	late, _, err := dial(t, h, nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]*websocket.Conn{"there": early, "come later": late} {
		got, _ := json.Marshal(nextPresenter(t, c))
		if string(got) != presented {
			t.Errorf("a page %s got\n%s, want\n%s", name, got, presented)
		}
	}
	if put(`{"on":false}`) != http.StatusOK || nextPresenter(t, early).On {
		t.Error("the end did not arrive")
	}
}

// TestPresenterEndsWithoutAnOwner: when the last page of an owner is gone the presentation
// ends after a while, and not when one came back before.
func TestPresenterEndsWithoutAnOwner(t *testing.T) {
	var sent []Presentation
	var fire func()
	pages := hub.New(10)
	p := presenter{send: func(m hub.Message) {
		var one Presentation
		if err := json.Unmarshal(m.Data, &one); err != nil {
			t.Error(err)
		}
		sent = append(sent, one)
	}, after: func(_ time.Duration, f func()) *time.Timer { fire = f; return time.NewTimer(time.Hour) }}
	p.join(pages.Subscribe(), true)
	p.join(pages.Subscribe(), false)
	p.put(Presentation{On: true})
	p.leave(false)
	if fire != nil {
		t.Fatal("a watcher's going ends the presentation")
	}
	p.leave(true)
	p.join(pages.Subscribe(), true)
	fire()
	if len(sent) != 1 {
		t.Fatalf("%d messages though the owner came back, want 1", len(sent))
	}
	p.leave(true)
	fire()
	if len(sent) != 2 || sent[1].On {
		t.Errorf("sent %+v, want the end", sent)
	}
}
