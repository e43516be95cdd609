package server

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire"
	"pulsewright/server/session"
)

// away serves the handler as if every connection came from another computer.
func away(t *testing.T, s *Server) *httptest.Server {
	t.Helper()
	inner := s.Handler()
	h := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.RemoteAddr = "192.0.2.7:4711" // TEST-NET-1, RFC 5737
		inner.ServeHTTP(w, r)
	}))
	t.Cleanup(h.Close)
	return h
}

// enter follows a link and returns the cookie it was exchanged for.
func enter(t *testing.T, h *httptest.Server, key string) *http.Cookie {
	t.Helper()
	response, err := h.Client().Get(h.URL + "/?key=" + key)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	cookies := response.Cookies()
	if response.StatusCode != 200 || len(cookies) != 1 {
		t.Fatalf("the link answered %d with %d cookies, want 200 and one", response.StatusCode, len(cookies))
	}
	c := cookies[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || strings.Contains(c.Value, key) {
		t.Errorf("cookie %v: want HttpOnly, SameSite=Strict and not the key itself", c)
	}
	return c
}

func TestStrangersNeedALink(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	for _, path := range []string{"/", "/api/v1/state", "/api/v1/stream", "/?key=wrong", "/?key=" + s.access.Key(Owner) + "x"} {
		if status, _ := request(t, h, "GET", path, "", nil); status != 401 {
			t.Errorf("%s without a valid key: status %d, want 401", strings.Split(path, "=")[0], status)
		}
	}
	if status, _ := request(t, h, "GET", "/api/v1/state", "", map[string]string{"Cookie": cookieName + "=forged"}); status != 401 {
		t.Errorf("a forged cookie got %d, want 401", status)
	}
	// A name bound to loopback by somebody else's name server is no way in either.
	if status, _ := request(t, h, "GET", "/", "", map[string]string{"Host": "localhost"}); status != 401 {
		t.Errorf("Host localhost from another computer got %d, want 401", status)
	}
}

func TestWatcherChangesNothing(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	cookie := enter(t, h, s.access.Key(Watcher))
	headers := map[string]string{"Cookie": cookie.Name + "=" + cookie.Value, "Content-Type": "application/json"}
	if status, body := request(t, h, "GET", "/api/v1/state", "", headers); status != 200 || !strings.Contains(body, `"owner":false`) {
		t.Errorf("a watcher's state: %d %s", status, body)
	}
	for _, c := range [][2]string{ // all of the program's: routes_test.go in server/command
		{"PUT", "/api/v1/source"}, {"PUT", "/api/v1/playback"}, {"PUT", "/api/v1/demo"}, {"PUT", "/api/v1/channels/0/kind"}, {"PUT", "/api/v1/channels/0/path"},
		{"PUT", "/api/v1/channels/0/scale"}, {"POST", "/api/v1/notes"}, {"POST", "/api/v1/recording"}, {"PUT", "/api/v1/share"}, {"DELETE", "/api/v1/share/visitors/1"},
		{"DELETE", "/api/v1/recordings/x"}, {"PATCH", "/api/v1/recordings/x"}, {"GET", "/api/v1/share"}, {"GET", "/api/v1/share/qr"},
	} {
		if status, _ := request(t, h, c[0], c[1], `{}`, headers); status != 403 {
			t.Errorf("a watcher's %s %s got %d, want 403", c[0], c[1], status)
		}
	}

	// The websocket: told that it only watches, thrown out when it tries to speak.
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(h.URL, "http")+"/api/v1/stream", &websocket.DialOptions{HTTPHeader: http.Header{"Cookie": {cookie.Name + "=" + cookie.Value}}})
	if err != nil {
		t.Fatal(err)
	}
	defer c.CloseNow()
	c.SetReadLimit(64 << 20)
	if _, data, err := c.Read(ctx); err != nil || string(data) != `{"owner":false,"type":"you"}` {
		t.Errorf("a watcher is told %s, %v", data, err)
	}
	visitors := s.access.Visitors()
	if len(visitors) != 1 || visitors[0].Owner || visitors[0].Streams != 1 || visitors[0].Address != "192.0.2.7" {
		t.Errorf("visitors %+v, want one watcher with a stream", visitors)
	}
	// Revoked: the stream ends and the cookie is worth nothing.
	if !s.access.Remove(visitors[0].ID) {
		t.Error("the watcher could not be removed")
	}
	for {
		if _, _, err := c.Read(ctx); err != nil {
			if ctx.Err() != nil {
				t.Error("the stream of a removed watcher goes on")
			}
			break
		}
	}
	if status, _ := request(t, h, "GET", "/api/v1/state", "", headers); status != 401 {
		t.Errorf("a removed watcher got %d, want 401", status)
	}
}

func TestOwnersLinkOwnsAndRenewalEndsIt(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	cookie := enter(t, h, s.access.Key(Owner))
	headers := map[string]string{"Cookie": cookie.Name + "=" + cookie.Value, "Content-Type": "application/json"}
	if status, body := request(t, h, "PUT", "/api/v1/channels/0/kind", `{"kind":"other"}`, headers); status != 200 {
		t.Errorf("an owner from another computer got %d %s", status, body)
	}
	if status, _ := request(t, h, "PUT", "/api/v1/channels/0/kind", `{"kind":"pulse"}`, map[string]string{"Cookie": headers["Cookie"], "Content-Type": "application/json", "Origin": "http://evil.example"}); status != 403 {
		t.Errorf("an owner's cookie with a foreign origin got %d, want 403", status)
	}
	if err := s.access.Renew(Owner); err != nil {
		t.Fatal(err)
	}
	if status, _ := request(t, h, "GET", "/api/v1/state", "", headers); status != 401 {
		t.Errorf("after the link was renewed its old visitor got %d, want 401", status)
	}
}

// TestWhoIsSentAwayLosesTheStream: a new link, and being taken off the list, end the
// streams that are open, with a code that says there is no use in trying again; those
// who came by another link stay.
func TestWhoIsSentAwayLosesTheStream(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	open := func(role Role) *websocket.Conn {
		cookie := enter(t, h, s.access.Key(role))
		c, _, err := dial(t, h, http.Header{"Cookie": {cookie.Name + "=" + cookie.Value}})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	closed := func(c *websocket.Conn) websocket.StatusCode {
		for {
			if _, _, err := c.Read(ctx); err != nil {
				return websocket.CloseStatus(err)
			}
		}
	}
	owner, renewed, removed := open(Owner), open(Watcher), open(Watcher)
	if !s.access.Remove(s.access.Visitors()[2].ID) {
		t.Fatal("the third visitor is not in the list")
	}
	if code := closed(removed); code != StatusLinkClosed {
		t.Errorf("a removed visitor's stream ends with %d, want %d", code, StatusLinkClosed)
	}
	if err := s.access.Renew(Watcher); err != nil {
		t.Fatal(err)
	}
	if code := closed(renewed); code != StatusLinkClosed {
		t.Errorf("after a new link the stream ends with %d, want %d", code, StatusLinkClosed)
	}
	if _, _, err := owner.Read(ctx); err != nil {
		t.Errorf("the owner's stream ended with the watchers': %v", err)
	}
}

// TestWatchersComeBack: when sharing is stopped and begun again who watched is let in by the cookie that it has, an owner is not, and
// after new links neither is.
func TestWatchersComeBack(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := s.Sharing.Start(0); err != nil {
		t.Fatal(err)
	}
	watcher, owner := enter(t, h, s.access.Code()), enter(t, h, s.access.Key(Owner))
	cookie := func(c *http.Cookie) map[string]string { return map[string]string{"Cookie": c.Name + "=" + c.Value} }
	c, _, err := dial(t, h, http.Header{"Cookie": {cookie(watcher)["Cookie"]}})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Sharing.Stop(); err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, _, err = c.Read(ctx)
	}
	if websocket.CloseStatus(err) != StatusLinkClosed || !strings.Contains(err.Error(), "goes on by itself") {
		t.Errorf("the watcher's stream ended with %v", err)
	}
	if n := len(s.Sharing.State().Visitors); n != 0 {
		t.Errorf("%d visitors of what is not shared", n)
	}
	if err := s.Sharing.Start(0); err != nil {
		t.Fatal(err)
	}
	defer s.Sharing.Stop()
	want := func(what string, c *http.Cookie, status int) {
		t.Helper()
		if got, _ := request(t, h, "GET", "/api/v1/state", "", cookie(c)); got != status {
			t.Errorf("%s gets %d, want %d", what, got, status)
		}
	}
	want("the watcher, shared again", watcher, 200)
	want("the other owner, shared again", owner, 401)
	if c, _, err = dial(t, h, http.Header{"Cookie": {cookie(watcher)["Cookie"]}}); err != nil {
		t.Fatal(err)
	}
	if _, _, err = c.Read(ctx); err != nil || len(s.Sharing.State().Visitors) != 1 {
		t.Errorf("the stream again: %v, %v", err, s.Sharing.State().Visitors)
	}
	if err := s.access.Renew(Watcher); err != nil {
		t.Fatal(err)
	}
	want("the watcher, after new links", watcher, 401)
}

// TestWhatAProxyPassedOnIsNotFromHere: each header by which a proxy on this computer
// tells that a request is another one's (RFC 7239 and the customary ones).
func TestWhatAProxyPassedOnIsNotFromHere(t *testing.T) {
	h := demo(t)
	for _, name := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP"} {
		if status, _ := request(t, h, "GET", "/api/v1/state", "", map[string]string{name: "192.0.2.9"}); status != 401 {
			t.Errorf("with %s: status %d, want 401", name, status)
		}
	}
}

func TestWrongKeysAreBounded(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	now := time.Unix(1e9, 0)
	s.access.now = func() time.Time { return now }
	for i := range failuresPerMinute {
		if status, _ := request(t, h, "GET", fmt.Sprintf("/?key=guess%d", i), "", nil); status != 401 {
			t.Fatalf("guess %d got %d, want 401", i, status)
		}
	}
	if status, _ := request(t, h, "GET", "/?key="+s.access.Key(Owner), "", nil); status != 429 {
		t.Errorf("after %d wrong keys the next got %d, want 429", failuresPerMinute, status)
	}
	now = now.Add(61 * time.Second)
	enter(t, h, s.access.Key(Owner))
}

func TestSharingIsAskedForAndEnds(t *testing.T) {
	s, h := demoServer(t)
	before := [2]string{s.access.Key(Watcher), s.access.Key(Owner)}
	js := map[string]string{"Content-Type": "application/json"}
	if status, body := request(t, h, "GET", "/api/v1/share", "", nil); status != 200 || !strings.Contains(body, `"on":false`) {
		t.Fatalf("sharing before anybody asked: %d %s", status, body)
	}
	if status, _ := request(t, h, "GET", "/api/v1/share/qr", "", nil); status != 409 {
		t.Errorf("a code for a page that is not shared: %d, want 409", status)
	}
	status, body := request(t, h, "PUT", "/api/v1/share", `{"on":true}`, js)
	var state ShareState
	if err := json.Unmarshal([]byte(body), &state); status != 200 || err != nil || !state.On || len(state.Watch) == 0 || state.Watch[0] == state.Own[0] {
		t.Fatalf("sharing: %d %s", status, body)
	}
	if status, png := request(t, h, "GET", "/api/v1/share/qr", "", nil); status != 200 || !strings.HasPrefix(png, "\x89PNG") {
		t.Errorf("the code: %d, %d bytes", status, len(png))
	}
	if status, body = request(t, h, "PUT", "/api/v1/share", `{"on":false}`, js); status != 200 || !strings.Contains(body, `"on":false`) {
		t.Errorf("sharing off: %d %s", status, body)
	}
	if s.access.Key(Watcher) != before[0] || s.access.Key(Owner) != before[1] {
		t.Error("a handout's link does not last until it is renewed")
	}
	if s.access.Code() != "" {
		t.Error("the short link outlives the sharing")
	}
}

// TestLinksLast: links and port of one run are those of the next, until they are renewed;
// nobody else can read them; a file that is no good makes new ones and is said.
func TestLinksLast(t *testing.T) {
	path := filepath.Join(t.TempDir(), "data", "links.json")
	first, err := newAccess(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := first.KeepPort(8199); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the links' file: %v, %v; want mode 0600", info.Mode(), err)
	}
	second, err := newAccess(path)
	if err != nil || second.Key(Watcher) != first.Key(Watcher) || second.Key(Owner) != first.Key(Owner) || second.Port() != 8199 {
		t.Errorf("the next run has other links: %v", err)
	}
	if err := second.Renew(Watcher, Owner); err != nil {
		t.Fatal(err)
	}
	third, err := newAccess(path)
	if err != nil || third.Key(Watcher) == first.Key(Watcher) || third.Key(Watcher) != second.Key(Watcher) {
		t.Errorf("renewed links are not kept: %v", err)
	}
	for _, bad := range []string{"", "{}", `{"watch":"a","own":"b"}`, `{"watch":"` + first.Key(Owner) + `","own":"` + first.Key(Owner) + `"}`} {
		if err := os.WriteFile(path, []byte(bad), 0o600); err != nil {
			t.Fatal(err)
		}
		if a, err := newAccess(path); err == nil || len(a.Key(Watcher)) < 22 {
			t.Errorf("%q was taken for links", bad)
		}
	}
}

// TestShortLink: the code that is shown lets a watcher in, in capitals too, as often as
// it is typed right; guesses are counted; it is for one sharing.
func TestShortLink(t *testing.T) {
	s, h := demoServer(t)
	far := away(t, s)
	js := map[string]string{"Content-Type": "application/json"}
	_, body := request(t, h, "PUT", "/api/v1/share", `{"on":true}`, js)
	var state ShareState
	if err := json.Unmarshal([]byte(body), &state); err != nil || len(state.Short) == 0 {
		t.Fatalf("no short link: %v %s", err, body)
	}
	_, rest, _ := strings.Cut(state.Short[0], "://")
	if address, code, _ := strings.Cut(rest, "/"); len(code) != codeLength || strings.Contains(address, ".") && !strings.Contains(address, "[") && len(rest) > len("192.168.100.200:65535/")+codeLength {
		t.Errorf("short link %s: want an address and %d letters", state.Short[0], codeLength)
	}
	code := s.access.Code()
	for _, typed := range []string{code, strings.ToUpper(code)} {
		if status, body := request(t, far, "GET", "/"+typed, "", nil); status != 200 || !strings.Contains(body, `"/?view=show"`) {
			t.Errorf("/%s got %d, want 200 and the way to Show: %s", typed, status, body)
		}
	}
	if v := s.access.Visitors(); len(v) != 2 || v[0].Owner || v[1].Owner {
		t.Errorf("visitors by the short link: %+v", v)
	}
	for i := range failuresPerMinute {
		if status, _ := request(t, far, "GET", fmt.Sprintf("/x%04d", i), "", nil); status != 401 {
			t.Fatalf("a guess got %d, want 401", status)
		}
	}
	if status, _ := request(t, far, "GET", "/"+code, "", nil); status != 429 {
		t.Errorf("after %d guesses the right code got %d, want 429", failuresPerMinute, status)
	}
	request(t, h, "PUT", "/api/v1/share", `{"on":false}`, js)
	if s.access.Code() == code || len(s.Sharing.State().Visitors) != 0 {
		t.Error("after the sharing the code stays, or visitors are listed")
	}
}

// TestWatchersGetNoPaths: neither the path nor the name of what is replayed or recorded.
func TestWatchersGetNoPaths(t *testing.T) {
	state := session.State{Source: acquire.Info{Address: "file:/home/anna/secret/anna 2025.edf", Name: "anna 2025.edf"},
		StatusText: "recording: /home/anna/secret/anna 2025.edf: cut", Text: []string{"patient anna"}, Recording: map[string]any{"id": "anna.edf", "name": "anna", "seconds": 12.5}}
	message, err := json.Marshal(struct {
		Type string `json:"type"`
		session.State
	}{"state", state})
	if err != nil {
		t.Fatal(err)
	}
	seen := string(forWatcher(message))
	for _, secret := range []string{"anna", "/home", "secret"} {
		if strings.Contains(seen, secret) {
			t.Errorf("a watcher gets %q: %s", secret, seen)
		}
	}
	if !strings.Contains(seen, `"seconds":12.5`) || !strings.Contains(seen, `"name":"a recording"`) {
		t.Errorf("a watcher gets %s", seen)
	}
	if beats := []byte(`{"type":"beats","epoch":1}`); string(forWatcher(beats)) != string(beats) {
		t.Error("another message is changed")
	}
}

// TestAnotherUserIsNoOwner asks the kernel's table, as is done for each connection.
func TestAnotherUserIsNoOwner(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("SKIP: only Linux tells who holds a connection")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	dialled, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer dialled.Close()
	c, err := l.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	uid, ok := socketOwner(c.RemoteAddr().(*net.TCPAddr), c.LocalAddr().(*net.TCPAddr))
	if !ok || uid != fmt.Sprint(os.Getuid()) || otherUser(c) {
		t.Errorf("the far end belongs to %q (%v), want %d", uid, ok, os.Getuid())
	}
	if _, ok := socketOwner(c.RemoteAddr().(*net.TCPAddr), &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 1}); ok {
		t.Error("a connection that there is not has an owner")
	}
	s, _ := demoServer(t)
	r := httptest.NewRequest("GET", "http://127.0.0.1/api/v1/state", nil)
	r.RemoteAddr = "127.0.0.1:4711"
	if role, _ := s.access.role(r); role != Owner {
		t.Error("the user of this computer is no owner")
	}
	if role, _ := s.access.role(r.WithContext(context.WithValue(r.Context(), strangerKey{}, true))); role != Nobody {
		t.Error("another user of this computer is let in")
	}
}

// TestLinkKeepsTheView: a link may lead straight to the view for a room, and
// repeats nothing else that stands in it.
func TestLinkKeepsTheView(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	for query, want := range map[string]string{"": "0; url=/", "&view=show": "0; url=/?view=show", "&view=%22%3E%3Cscript%3E": "0; url=/", "&view=show&next=//example.org": "0; url=/?view=show"} {
		response, err := h.Client().Get(h.URL + "/?key=" + s.access.Key(Watcher) + query)
		if err != nil {
			t.Fatal(err)
		}
		response.Body.Close()
		if got := response.Header.Get("Refresh"); got != want {
			t.Errorf("a link with %q leads to %q, want %q", query, got, want)
		}
	}
}
