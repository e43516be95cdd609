package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
	"github.com/go-chi/chi/v5"

	"pulsewright/server"
	"pulsewright/server/library"
)

// route is one of the program's, with its parameters filled in.
type route struct{ method, pattern, path string }

// wired is the whole program with a recording in its folder, its handler once as
// this computer and once as another one sees it.
type wired struct {
	server *server.Server
	folder string
	here   *httptest.Server
	away   *httptest.Server
	routes []route
}

const oneRecording = "2026-03-04 19.30.00 walk.csv"

func wire(t *testing.T) *wired {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wired{folder: t.TempDir()}
	if err := os.WriteFile(filepath.Join(w.folder, oneRecording), []byte("time_s,pulse [V]\n0,1\n0.01,2\n0.02,3\n0.03,2\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, done := make(chan *server.Server, 1), make(chan error, 1)
	go func() {
		done <- serveOn(ctx, l, serveFlags{listen: l.Addr().String(), source: "demo:finger", data: w.folder, ready: func(s *server.Server) { ready <- s }, stdout: io.Discard, log: slog.New(slog.DiscardHandler)})
	}()
	w.server = <-ready
	handler := w.server.Handler()
	w.here = httptest.NewServer(handler)
	w.away = httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		r.RemoteAddr = "192.0.2.7:4711" // TEST-NET-1, RFC 5737
		handler.ServeHTTP(rw, r)
	}))
	t.Cleanup(func() {
		w.here.Close()
		cancel()
		<-done
		w.away.Close()
	})
	fill := regexp.MustCompile(`\{[^}]*\}`)
	err = chi.Walk(handler.(chi.Routes), func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		path := fill.ReplaceAllStringFunc(pattern, func(name string) string {
			switch name {
			case "{n}":
				return "0"
			case "{name}":
				return "any_board"
			case "{id}":
				if strings.Contains(pattern, "/recordings/") {
					return url.PathEscape(oneRecording)
				}
				return "1"
			}
			t.Fatalf("%s has a parameter %s that this test does not know", pattern, name)
			return ""
		})
		w.routes = append(w.routes, route{method, pattern, strings.TrimSuffix(path, "*")})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(w.routes) < 30 {
		t.Fatalf("only %d routes found: %v", len(w.routes), w.routes)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if _, body := sendTo(t, w.here, "GET", "/api/v1/state", "", nil); strings.Contains(body, `"status":"running"`) {
			return w
		} else if time.Now().After(deadline) {
			t.Fatalf("the demo does not run: %s", body)
		}
	}
}

// sendTo makes a request; a stream's upgrade is asked for properly.
func sendTo(t *testing.T, h *httptest.Server, method, path, body string, headers map[string]string) (int, string) {
	t.Helper()
	r, err := http.NewRequest(method, h.URL+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if method != "GET" {
		r.Header.Set("Content-Type", "application/json")
	}
	if strings.HasSuffix(path, "/stream") {
		for k, v := range map[string]string{"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13", "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="} {
			r.Header.Set(k, v)
		}
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
	if response.StatusCode == http.StatusSwitchingProtocols {
		return response.StatusCode, ""
	}
	data, err := io.ReadAll(io.LimitReader(response.Body, 16<<20))
	if err != nil {
		t.Errorf("%s %s: %v", method, path, err)
	}
	return response.StatusCode, string(data)
}

// visitor comes in by a key and returns its headers.
func (w *wired) visitor(t *testing.T, link string) map[string]string {
	t.Helper()
	u, err := url.Parse(link)
	if err != nil {
		t.Fatal(err)
	}
	response, err := w.away.Client().Get(w.away.URL + "/?" + u.RawQuery)
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if len(response.Cookies()) != 1 {
		t.Fatalf("the link gave %d and %d cookies", response.StatusCode, len(response.Cookies()))
	}
	c := response.Cookies()[0]
	return map[string]string{"Cookie": c.Name + "=" + c.Value}
}

func (w *wired) links(t *testing.T) (watch, own string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	a, b := w.server.Sharing.Links(l)
	return a[0], b[0]
}

// contents lists a folder: every file with its size and time of change.
func contents(t *testing.T, folder string) string {
	t.Helper()
	var list strings.Builder
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			fmt.Fprintln(&list, path, info.Size(), info.ModTime())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return list.String()
}

// settings is the part of the state that somebody could change.
func settings(t *testing.T, h *httptest.Server) string {
	t.Helper()
	_, body := sendTo(t, h, "GET", "/api/v1/state", "", nil)
	for _, moving := range []string{`"lastIndex":[^,]*,`, `"clock":\{[^}]*\},`, `"watchers":[^,]*,`, `"health":\{[^}]*\},`, `"humHz":[^,]*,`, `"owner":[a-z]*`} {
		body = regexp.MustCompile(moving).ReplaceAllString(body, "")
	}
	_, share := sendTo(t, h, "GET", "/api/v1/share", "", nil)
	return body + regexp.MustCompile(`"streams":\d+`).ReplaceAllString(share, "")
}

// watchersMaySee are the routes a watcher gets an answer from. A new route is the
// owner's alone unless it is put here.
var watchersMaySee = []string{
	"/*", "/metrics", "/api/v1/stream", "/api/v1/state", "/api/v1/history", "/api/v1/beats",
	"/api/v1/channels/{n}/path/response", "/api/v1/channels/{n}/path/firmware", "/api/v1/channels/{n}/reading", "/api/v1/channels/{n}/meters", "/api/v1/channels/{n}/spectrum", "/api/v1/channels/{n}/trimmer", "/api/v1/channels/{n}/variability", "/api/v1/channels/{n}/why",
}

// TestWatcherChangesNothingByAnyRoute walks all routes of the whole program as a
// watcher: what changes things is refused, and looking changes nothing.
func TestWatcherChangesNothingByAnyRoute(t *testing.T) {
	w := wire(t)
	watch, _ := w.links(t)
	me := w.visitor(t, watch)
	folder, state := contents(t, w.folder), settings(t, w.here)
	for _, r := range w.routes {
		for _, body := range []string{"", `{}`, `{"on":true,"address":"demo:chest","kind":"other","text":"x","minutes":1,"trimmerHz":5}`} {
			status, answer := sendTo(t, w.away, r.method, r.path, body, me)
			if r.method == "GET" && slices.Contains(watchersMaySee, r.pattern) {
				if status == http.StatusForbidden || status == http.StatusUnauthorized {
					t.Errorf("a watcher's %s %s got %d %s, want an answer", r.method, r.pattern, status, answer)
				}
				continue
			}
			if status != http.StatusForbidden || !strings.Contains(answer, "only the owner") {
				t.Errorf("a watcher's %s %s got %d %.200s, want 403; a new route that a watcher may see belongs into watchersMaySee", r.method, r.pattern, status, answer)
			}
		}
	}
	// Methods that no route has, and names for another method, are no way round.
	for _, method := range []string{"PUT", "POST", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"} {
		headers := map[string]string{"Cookie": me["Cookie"], "X-HTTP-Method-Override": method}
		if status, _ := sendTo(t, w.away, method, "/api/v1/state", "", headers); status != http.StatusForbidden {
			t.Errorf("a watcher's %s got %d, want 403", method, status)
		}
		if status, _ := sendTo(t, w.away, "GET", "/api/v1/recording?_method="+method, "", headers); status != http.StatusForbidden {
			t.Errorf("a watcher's GET dressed as %s got %d, want 403", method, status)
		}
	}
	if after := contents(t, w.folder); after != folder {
		t.Errorf("a watcher changed the folder from\n%sto\n%s", folder, after)
	}
	if after := settings(t, w.here); after != state {
		t.Errorf("a watcher changed the state from\n%s\nto\n%s", state, after)
	}
}

// TestWatcherChangesNothingByTheStream sends what the page's controls send over
// REST, and more, up the websocket: each ends the connection and changes nothing.
func TestWatcherChangesNothingByTheStream(t *testing.T) {
	w := wire(t)
	watch, own := w.links(t)
	for who, link := range map[string]string{"watcher": watch, "owner": own} {
		me := w.visitor(t, link)
		state := settings(t, w.here)
		for _, message := range []string{`{"type":"source","address":"demo:chest"}`, `{"type":"kind","channel":0,"kind":"other"}`, `{"type":"note","text":"x"}`,
			`{"type":"you","owner":true}`, `{"type":"state"}`, `{"type":"ping","id":{"a":"0123456789012345678901234567890"}}`, `[]`, `null`, `x`, "\x00", strings.Repeat("a", 5000)} {
			ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
			c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(w.away.URL, "http")+"/api/v1/stream", &websocket.DialOptions{HTTPHeader: http.Header{"Cookie": {me["Cookie"]}}})
			if err != nil {
				t.Fatal(err)
			}
			c.SetReadLimit(64 << 20)
			if err := c.Write(ctx, websocket.MessageText, []byte(message)); err != nil {
				t.Fatal(err)
			}
			for err == nil {
				_, _, err = c.Read(ctx)
			}
			if ctx.Err() != nil {
				t.Errorf("a %s that sent %.60q was not cut off", who, message)
			}
			c.CloseNow()
			cancel()
		}
		if after := settings(t, w.here); after != state {
			t.Errorf("a %s changed the state by the stream from\n%s\nto\n%s", who, state, after)
		}
	}
}

// TestEveryRouteGuardsItself: on all routes a stranger, a foreign page, a rebound
// name and a body that is too large or of another type are turned away.
func TestEveryRouteGuardsItself(t *testing.T) {
	w := wire(t)
	foreign := func(headers map[string]string) func(h *httptest.Server, r route) int {
		return func(h *httptest.Server, r route) int {
			status, _ := sendTo(t, h, r.method, r.path, `{}`, headers)
			return status
		}
	}
	_, own := w.links(t)
	cookie := w.visitor(t, own)["Cookie"]
	folder, state := contents(t, w.folder), settings(t, w.here)
	for _, c := range []struct {
		name string
		h    *httptest.Server
		try  func(h *httptest.Server, r route) int
		want int
	}{
		{"no key", w.away, foreign(nil), 401},
		{"forged cookie", w.away, foreign(map[string]string{"Cookie": "pulsewright=forged"}), 401},
		{"Host of this computer from another", w.away, foreign(map[string]string{"Host": "localhost"}), 401},
		{"passed on by a proxy here", w.here, foreign(map[string]string{"X-Forwarded-For": "192.0.2.9"}), 401},
		{"rebound name", w.here, foreign(map[string]string{"Host": "rebound.example"}), 421},
		{"rebound name with an owner's cookie", w.away, foreign(map[string]string{"Host": "rebound.example:8147", "Cookie": cookie}), 421},
		{"foreign origin", w.here, foreign(map[string]string{"Origin": "http://evil.example"}), 403},
		{"foreign origin with an owner's cookie", w.away, foreign(map[string]string{"Origin": "https://evil.example", "Cookie": cookie}), 403},
		{"origin null", w.here, foreign(map[string]string{"Origin": "null"}), 403},
		{"own address in another scheme", w.here, foreign(map[string]string{"Origin": strings.Replace(w.here.URL, "http:", "https:", 1)}), 403},
	} {
		for _, r := range w.routes {
			if got := c.try(c.h, r); got != c.want {
				t.Errorf("%s: %s %s got %d, want %d", c.name, r.method, r.pattern, got, c.want)
			}
		}
	}
	for _, r := range w.routes {
		if strings.HasPrefix(r.path, "/api/") || r.path == "/metrics" {
			if status, _ := sendTo(t, w.here, r.method, r.path, "{}", map[string]string{"Sec-Fetch-Site": "cross-site"}); status != 403 {
				t.Errorf("a request marked cross-site: %s %s got %d, want 403", r.method, r.pattern, status)
			}
		}
		// Those without a body do not read it; uploads have limits of their own.
		takesBody := r.method != "GET" && r.method != "DELETE" && r.pattern != "/api/v1/recordings" && r.pattern != "/api/v1/recordings/preview" && r.pattern != "/api/v1/response/runs" && !strings.HasSuffix(r.pattern, "/restore")
		if r.pattern == "/api/v1/response/runs" {
			if status, answer := sendTo(t, w.here, r.method, r.path, "{}", map[string]string{"Content-Type": "text/plain"}); status != 415 {
				t.Errorf("%s %s of type text/plain got %d %.100s, want 415", r.method, r.pattern, status, answer)
			}
		}
		if !takesBody {
			continue
		}
		if status, answer := sendTo(t, w.here, r.method, r.path, `{"x":"`+strings.Repeat("x", 100_000)+`"}`, nil); status != 413 && status != 400 {
			t.Errorf("a large body: %s %s got %d %.100s, want 413", r.method, r.pattern, status, answer)
		}
		if status, answer := sendTo(t, w.here, r.method, r.path, strings.Repeat(" ", 100_000)+`{}`, nil); status != 413 {
			t.Errorf("a large body: %s %s got %d %.100s, want 413", r.method, r.pattern, status, answer)
		}
		// What a foreign form can send without asking first.
		for _, kind := range []string{"text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""} {
			if status, answer := sendTo(t, w.here, r.method, r.path, `{}`, map[string]string{"Content-Type": kind}); status != 415 {
				t.Errorf("%s %s of type %q got %d %.100s, want 415", r.method, r.pattern, kind, status, answer)
			}
		}
	}
	if after := contents(t, w.folder); after != folder {
		t.Errorf("refused requests changed the folder from\n%sto\n%s", folder, after)
	}
	if after := settings(t, w.here); after != state {
		t.Errorf("refused requests changed the state from\n%s\nto\n%s", state, after)
	}
}

// TestChannelsThatAreNotThere: every route of a channel says so.
func TestChannelsThatAreNotThere(t *testing.T) {
	w := wire(t)
	for _, r := range w.routes {
		if !strings.Contains(r.pattern, "{n}") {
			continue
		}
		for _, n := range []string{"-1", "1", "99", "x", "9223372036854775808"} {
			body := `{}`
			switch {
			case strings.HasSuffix(r.pattern, "/kind"):
				body = `{"kind":"ecg"}`
			case strings.HasSuffix(r.pattern, "/scale"):
				body = `{"source":"unknown","gain":1}`
			case strings.HasSuffix(r.pattern, "/calibration"):
				body = `{"method":"step"}`
			}
			path := strings.Replace(r.pattern, "{n}", n, 1)
			if status, answer := sendTo(t, w.here, r.method, path, body, nil); status != http.StatusNotFound || !strings.Contains(answer, "no such channel") {
				t.Errorf("%s %s got %d %.200s, want 404", r.method, path, status, answer)
			}
		}
	}
}

// TestPathsLeadNowhereElse: no spelling of a path outside the folder or the page
// gives a file, even to the owner.
func TestPathsLeadNowhereElse(t *testing.T) {
	w := wire(t)
	outside := filepath.Join(filepath.Dir(w.folder), "outside.csv")
	if err := os.WriteFile(outside, []byte("time_s,pulse [V]\n0,31415\n0.01,31415\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	defer os.Remove(outside)
	if err := os.Symlink(outside, filepath.Join(w.folder, "link.csv")); err != nil {
		t.Logf("no symbolic links here: %v", err)
	}
	names := []string{"../outside.csv", "..%2foutside.csv", "..%2Foutside.csv", "%2e%2e%2foutside.csv", "%2e%2e/outside.csv", "..%5coutside.csv", "..\\outside.csv", "link.csv",
		"..%252foutside.csv", ".%2e/outside.csv", "walk.csv/../../outside.csv", url.PathEscape(outside), "%2f%2f" + url.PathEscape(outside), "outside.csv%00.csv", "..%c0%afoutside.csv",
		".trash", ".notes.json", ".", "..", "C:%5coutside.csv", "file:" + url.PathEscape(outside)}
	for _, name := range names {
		for _, r := range w.routes {
			if !strings.Contains(r.pattern, "/recordings/{id}") {
				continue
			}
			path := strings.Replace(r.pattern, "{id}", name, 1)
			status, body := raw(t, w.here, r.method, path)
			if status == 200 && !strings.Contains(body, "<!doctype html>") || strings.Contains(body, "31415") {
				t.Errorf("%s %s got %d %.200s", r.method, path, status, body)
			}
		}
		for _, prefix := range []string{"/", "/js/", "/css/../", "//"} {
			if status, body := raw(t, w.here, "GET", prefix+name); strings.Contains(body, "31415") || status == 200 && !strings.Contains(body, "<!doctype html>") {
				t.Errorf("GET %s%s got %d %.200s", prefix, name, status, body)
			}
		}
	}
	for _, path := range []string{"/../go.mod", "/%2e%2e/go.mod", "/..%2fgo.mod", "/js/..%2f..%2fgo.mod", "/web.go", "/package.json", "/test/mock-server.mjs", "/node_modules/"} {
		if status, body := raw(t, w.here, "GET", path); status == 200 {
			t.Errorf("GET %s got %d %.100s", path, status, body)
		}
	}
	if data, err := os.ReadFile(outside); err != nil || !strings.Contains(string(data), "31415") {
		t.Errorf("the file outside was touched: %v", err)
	}
	store := library.NewStore(w.folder)
	for _, id := range append(names, outside, "", "a/../../outside.csv", "..\\outside.csv", "outside.csv\x00.csv") {
		if path, err := store.Path(id); !errors.Is(err, library.ErrNoRecording) {
			t.Errorf("the id %q gave %q, %v, want none", id, path, err)
		}
	}
	// Uploads stay in the folder under a name made harmless.
	for _, name := range names {
		raw(t, w.here, "POST", "/api/v1/recordings?name="+name)
	}
	entries, err := os.ReadDir(filepath.Dir(w.folder))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if p := filepath.Join(filepath.Dir(w.folder), e.Name()); p != w.folder && p != outside && !e.IsDir() {
			t.Errorf("an upload made %s outside the folder", p)
		}
	}
}

// raw sends a path as it is spelled, without a client's tidying.
func raw(t *testing.T, h *httptest.Server, method, path string) (int, string) {
	t.Helper()
	c, err := net.Dial("tcp", h.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(10 * time.Second))
	body := "time_s,pulse [V]\n0,1\n0.01,2\n0.02,1\n"
	fmt.Fprintf(c, "%s %s HTTP/1.0\r\nHost: %s\r\nContent-Length: %d\r\n\r\n%s", method, path, h.Listener.Addr(), len(body), body)
	data, err := io.ReadAll(io.LimitReader(c, 1<<20))
	if err != nil {
		t.Fatal(err)
	}
	var status int
	_, _ = fmt.Sscanf(string(data), "HTTP/1.%d %d", new(int), &status)
	return status, string(data)
}
