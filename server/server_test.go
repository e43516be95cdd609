package server

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
	"pulsewright/server/hub"
	"pulsewright/server/session"
)

// demo serves a simulated finger.
func demo(t *testing.T) *httptest.Server {
	t.Helper()
	_, h := demoServer(t)
	return h
}

func demoServer(t *testing.T) (*Server, *httptest.Server) { return demoServerOf(t, "demo:finger") }

func demoServerOf(t *testing.T, address string) (*Server, *httptest.Server) {
	t.Helper()
	live := session.New(session.Config{Openers: acquire.Openers{"demo": simulate.Open}, Hub: hub.New(256)})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = live.Run(ctx) }()
	if err := live.Open(ctx, address); err != nil {
		t.Fatal(err)
	}
	s := New(Config{Session: live, Page: fstest.MapFS{"index.html": {Data: []byte("<!doctype html>")}},
		Sources: func(context.Context) Choices { return Choices{} }})
	h := httptest.NewServer(s.Handler())
	t.Cleanup(func() { s.cancel(); h.Close(); cancel(); <-done })
	return s, h
}

func request(t *testing.T, h *httptest.Server, method, path, body string, headers map[string]string) (int, string) {
	t.Helper()
	r, err := http.NewRequest(method, h.URL+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for k, v := range headers {
		if k == "Host" {
			r.Host = v
		}
		r.Header.Set(k, v)
	}
	response, err := h.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	data, _ := io.ReadAll(response.Body)
	return response.StatusCode, string(data)
}

func TestForeignHostAndOriginAreRefused(t *testing.T) {
	h := demo(t)
	own := h.URL
	for _, c := range []struct {
		name, method, path string
		headers            map[string]string
		want               int
	}{
		{"own page", "GET", "/", nil, 200},
		{"own origin", "GET", "/api/v1/state", map[string]string{"Origin": own}, 200},
		{"foreign host", "GET", "/", map[string]string{"Host": "rebound.example"}, 421},
		{"foreign host with port", "GET", "/api/v1/state", map[string]string{"Host": "rebound.example:8147"}, 421},
		{"empty-looking host", "GET", "/", map[string]string{"Host": "localhost.evil.example"}, 421},
		{"loopback by name", "GET", "/", map[string]string{"Host": "LOCALHOST:1"}, 200},
		{"loopback in IPv6", "GET", "/", map[string]string{"Host": "[::1]:8147"}, 200},
		{"foreign origin", "GET", "/api/v1/state", map[string]string{"Origin": "http://evil.example"}, 403},
		{"null origin", "PUT", "/api/v1/source", map[string]string{"Origin": "null"}, 403},
		{"own host, other port", "PUT", "/api/v1/source", map[string]string{"Origin": "http://127.0.0.1:1"}, 403},
		{"cross-site without origin", "GET", "/api/v1/state", map[string]string{"Sec-Fetch-Site": "cross-site"}, 403},
		{"link to the page from elsewhere", "GET", "/", map[string]string{"Sec-Fetch-Site": "cross-site"}, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got, body := request(t, h, c.method, c.path, "", c.headers); got != c.want {
				t.Errorf("status %d, want %d: %s", got, c.want, body)
			}
		})
	}
}

func dial(t *testing.T, h *httptest.Server, headers http.Header) (*websocket.Conn, *http.Response, error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	c, response, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(h.URL, "http")+"/api/v1/stream",
		&websocket.DialOptions{HTTPHeader: headers, Subprotocols: []string{Subprotocol}})
	if err == nil {
		c.SetReadLimit(64 << 20)
		t.Cleanup(func() { c.CloseNow() })
	}
	return c, response, err
}

func TestStreamRefusesAForeignOrigin(t *testing.T) {
	h := demo(t)
	if _, response, err := dial(t, h, http.Header{"Origin": {"http://evil.example"}}); err == nil || response == nil || response.StatusCode != 403 {
		t.Errorf("a foreign page's websocket got %v, want 403", response)
	}
	if _, _, err := dial(t, h, http.Header{"Origin": {h.URL}}); err != nil {
		t.Errorf("the own page's websocket: %v", err)
	}
}

func TestStreamBeginsWithStateThenFrames(t *testing.T) {
	h := demo(t)
	c, _, err := dial(t, h, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	_, data, err := c.Read(ctx)
	if err != nil || string(data) != `{"owner":true,"type":"you"}` {
		t.Fatalf("first message %s, %v; want to be told that this page is the owner's", data, err)
	}
	kind, data, err := c.Read(ctx)
	if err != nil {
		t.Fatal(err)
	}
	var state struct {
		Type     string
		Channels []struct{ Unit string }
	}
	if err := json.Unmarshal(data, &state); kind != websocket.MessageText || err != nil || state.Type != "state" || len(state.Channels) != 1 || state.Channels[0].Unit != "V" {
		t.Fatalf("second message %s, want the state with a channel in volts", data)
	}
	for frames := 0; frames < 5; {
		kind, data, err := c.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if kind == websocket.MessageBinary {
			if string(data[:2]) != "PW" || data[2] != 1 {
				t.Fatalf("a frame begins with %v, want PW and version 1", data[:3])
			}
			frames++
		}
	}
	if err := c.Write(ctx, websocket.MessageText, []byte(`{"type":"set","x":1}`)); err != nil {
		t.Fatal(err)
	}
	for {
		if _, _, err := c.Read(ctx); err != nil {
			if websocket.CloseStatus(err) != websocket.StatusPolicyViolation {
				t.Errorf("a page that sends anything but a ping was ended with %v, want a policy violation", err)
			}
			return
		}
	}
}

func TestBadRequestsGetSentences(t *testing.T) {
	h := demo(t)
	js := map[string]string{"Content-Type": "application/json"}
	for _, c := range []struct {
		name, method, path, body string
		headers                  map[string]string
		status                   int
		says                     string
	}{
		{"no JSON type", "PUT", "/api/v1/source", `{}`, nil, 415, "application/json"},
		{"broken JSON", "PUT", "/api/v1/source", `{`, js, 400, "JSON"},
		{"unknown field", "PUT", "/api/v1/source", `{"adress":"demo:finger"}`, js, 400, "adress"},
		{"two values", "PUT", "/api/v1/source", `{"address":"demo:finger"}{}`, js, 400, "one value"},
		{"large body", "PUT", "/api/v1/source", `{"address":"` + strings.Repeat("x", 100_000) + `"}`, js, 413, "bytes"},
		{"unknown scheme", "PUT", "/api/v1/source", `{"address":"gopher:x"}`, js, 400, "demo:"},
		{"unknown demo", "PUT", "/api/v1/source", `{"address":"demo:elbow"}`, js, 400, "elbow"},
		{"no channel", "PUT", "/api/v1/channels/7/kind", `{"kind":"ecg"}`, js, 404, "channel 7"},
		{"odd channel", "GET", "/api/v1/channels/x/meters", "", nil, 404, "channel"},
		{"bad kind", "PUT", "/api/v1/channels/0/kind", `{"kind":"toe"}`, js, 422, "toe"},
		{"bad cutoff", "PUT", "/api/v1/channels/0/path", `{"smooth":{"shape":"rc","cutoffHz":9000,"order":1},"hum":{"mode":"off"}}`, js, 422, "9000"},
		{"empty path", "PUT", "/api/v1/channels/0/path", `{}`, js, 400, "nothing is changed"},
		{"null path", "PUT", "/api/v1/channels/0/path", `null`, js, 400, "nothing is changed"},
		{"no such capacitor", "GET", "/api/v1/channels/0/trimmer?capacitorFarads=1e-320", "", nil, 400, "no part is that small"},
		{"no playback", "PUT", "/api/v1/playback", `{"speed":2}`, js, 409, "not a recording"},
		{"bad range", "GET", "/api/v1/history?from=9&to=2", "", nil, 400, "from=9"},
		{"bad seconds", "GET", "/api/v1/channels/0/spectrum?seconds=1e9", "", nil, 400, "seconds"},
		{"empty note", "POST", "/api/v1/notes", `{"text":"  "}`, js, 400, "note"},
		{"future note", "POST", "/api/v1/notes", `{"text":"later","index":9000000000000000}`, js, 400, "newest sample"},
		{"note before the start", "POST", "/api/v1/notes", `{"text":"earlier","index":-1}`, js, 400, "newest sample"},
		{"note of another epoch", "POST", "/api/v1/notes", `{"text":"then","index":0,"epoch":4000000000}`, js, 409, "epoch"},
		{"unknown path", "GET", "/api/v1/nothing", "", nil, 404, "nothing"},
		{"wrong method", "POST", "/api/v1/state", "", nil, 405, "POST"},
		{"outside the page", "GET", "/../go.mod", "", nil, 404, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			status, body := request(t, h, c.method, c.path, c.body, c.headers)
			if status != c.status || !strings.Contains(body, c.says) {
				t.Errorf("status %d %s, want %d with %q", status, body, c.status, c.says)
			}
		})
	}
}

func TestSecurityHeaders(t *testing.T) {
	h := demo(t)
	response, err := h.Client().Get(h.URL + "/")
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	csp := response.Header.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'"} {
		if !strings.Contains(csp, want) {
			t.Errorf("the content security policy %q lacks %q", csp, want)
		}
	}
	if strings.Contains(csp, "unsafe") {
		t.Errorf("the content security policy allows something unsafe: %q", csp)
	}
}

func TestMetrics(t *testing.T) {
	h := demo(t)
	deadline := time.Now().Add(10 * time.Second)
	for {
		status, body := request(t, h, "GET", "/metrics", "", nil)
		if status == 200 && strings.Contains(body, "pulsewright_source_rate_hertz 250") && !strings.Contains(body, "pulsewright_samples_total 0\n") &&
			strings.Contains(body, "go_goroutines") {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("status %d: %s", status, body)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// TestSketchesAreHandedOut: the example sketches come as files, nothing else does.
func TestSketchesAreHandedOut(t *testing.T) {
	h := demo(t)
	for _, name := range []string{"any_board", "lamp_clip"} {
		want, err := os.ReadFile("../acquire/serialport/board/sketch/" + name + "/" + name + ".ino")
		if err != nil {
			t.Fatal(err)
		}
		if status, body := request(t, h, "GET", "/api/v1/sketch/"+name, "", nil); status != 200 || body != string(want) {
			t.Errorf("%s: status %d, %d bytes; want 200 and the file's %d", name, status, len(body), len(want))
		}
	}
	for _, name := range []string{"sketch.go", "..%2Fsketch", "lamp_clip.ino"} {
		if status, body := request(t, h, "GET", "/api/v1/sketch/"+name, "", nil); status != 404 || !strings.Contains(body, "any_board and lamp_clip") {
			t.Errorf("%s: %d %s, want 404 with the names there are", name, status, body)
		}
	}
}
