package server

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
	"github.com/go-chi/chi/v5"
)

// slowServer serves on a real listener with little patience; with adds routes.
func slowServer(t *testing.T, patience time.Duration, with ...func(r chi.Router)) (*Server, string) {
	t.Helper()
	s, _ := demoServer(t)
	s.headerPatience, s.patience = patience, patience
	s.more = with
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l) }()
	t.Cleanup(func() { cancel(); <-done })
	return s, l.Addr().String()
}

// dripping sends text, then one byte now and then, until the server hangs up; it
// returns how long that took.
func dripping(t *testing.T, address, text string, drip byte, every time.Duration) time.Duration {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	start := time.Now()
	if _, err := io.WriteString(c, text); err != nil {
		t.Fatal(err)
	}
	hungUp := make(chan struct{})
	go func() {
		defer close(hungUp)
		_, _ = io.Copy(io.Discard, c)
	}()
	for {
		select {
		case <-hungUp:
			return time.Since(start)
		case <-time.After(every):
			if time.Since(start) > 15*time.Second {
				t.Fatalf("after %.0f s of dripping the connection is still open", time.Since(start).Seconds())
			}
			_, _ = c.Write([]byte{drip})
		}
	}
}

func TestSlowSendersAreCutOff(t *testing.T) {
	_, address := slowServer(t, 400*time.Millisecond)
	for name, begin := range map[string]string{
		"nothing":         "",
		"half a header":   "GET /api/v1/state HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ",
		"endless header":  "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Long: " + strings.Repeat("a", 100_000),
		"a dripping body": "PUT /api/v1/source HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 60000\r\n\r\n{\"address\":\"",
		"a body promised": "POST /api/v1/notes HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 99\r\n\r\n",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dripping(t, address, begin, 'x', 50*time.Millisecond)
		})
	}
}

// TestABodyThatKeepsComingMayTakeLong: an upload that lasts far longer than the
// patience goes on while it comes at the pace.
func TestABodyThatKeepsComingMayTakeLong(t *testing.T) {
	const patience = 300 * time.Millisecond
	got := make(chan int64, 1)
	_, address := slowServer(t, patience, func(r chi.Router) {
		r.Post("/taken", func(w http.ResponseWriter, r *http.Request) {
			n, err := io.Copy(io.Discard, r.Body)
			if err != nil {
				n = -n
			}
			got <- n
		})
	})
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	const pieces = 12
	fmt.Fprintf(c, "POST /api/v1/taken HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: %d\r\n\r\n", pieces*paceBytes)
	for range pieces { // four times the patience
		if _, err := c.Write(make([]byte, paceBytes)); err != nil {
			t.Fatal(err)
		}
		time.Sleep(patience / 3)
	}
	if n := <-got; n != pieces*paceBytes {
		t.Errorf("%d bytes of %d taken", n, pieces*paceBytes)
	}
}

func TestSlowTakersAreCutOff(t *testing.T) {
	const large = 200 << 20
	ended := make(chan error, 1)
	_, address := slowServer(t, 300*time.Millisecond, func(r chi.Router) {
		r.Get("/large", func(w http.ResponseWriter, r *http.Request) {
			var err error
			piece := make([]byte, 1<<20)
			for i := 0; i < large>>20 && err == nil; i++ {
				_, err = w.Write(piece)
			}
			ended <- err
		})
	})
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "GET /api/v1/large HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
	select {
	case err := <-ended:
		if err == nil {
			t.Error("a large answer went to a peer that took nothing")
		}
	case <-time.After(15 * time.Second):
		t.Fatal("an answer to a peer that takes nothing goes on for ever")
	}
	// One that takes slowly but steadily gets it all.
	slow, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer slow.Close()
	fmt.Fprint(slow, "GET /api/v1/large HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
	total := int64(0)
	for pause := 0; ; pause++ {
		n, err := io.CopyN(io.Discard, slow, 8<<20)
		if total += n; err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("cut off after %d bytes: %v", total, err)
		}
		if pause < 12 {
			time.Sleep(50 * time.Millisecond) // twice the patience in all
		}
	}
	if total < large {
		t.Errorf("%d bytes arrived, want %d", total, large)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// farListener and farConn make connections look as if they came from elsewhere.
type farListener struct {
	net.Listener
	from string
}
type farConn struct {
	net.Conn
	from net.Addr
}

func (l farListener) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return farConn{c, &net.TCPAddr{IP: net.ParseIP(l.from), Port: 4711}}, nil
}
func (c farConn) RemoteAddr() net.Addr { return c.from }

func TestConnectionsFromOneAddressAreBounded(t *testing.T) {
	inner, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := newCrowdedListener(farListener{inner, "192.0.2.7"}, 100, 3)
	defer l.Close()
	accepted := make(chan net.Conn, 10)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			accepted <- c
		}
	}()
	var served []net.Conn
	for range 3 {
		c, err := net.Dial("tcp", inner.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		served = append(served, <-accepted)
	}
	extra, err := net.Dial("tcp", inner.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer extra.Close()
	_ = extra.SetReadDeadline(time.Now().Add(10 * time.Second))
	if _, err := extra.Read(make([]byte, 1)); !errors.Is(err, io.EOF) && !strings.Contains(fmt.Sprint(err), "reset") {
		t.Errorf("a fourth connection of three got %v, want to be closed", err)
	}
	served[0].Close()
	served[0].Close() // counts once
	c, err := net.Dial("tcp", inner.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	select {
	case <-accepted:
	case <-time.After(10 * time.Second):
		t.Error("after one left none may come in its place")
	}
	if l.all != 3 || l.peers["192.0.2.7"] != 3 {
		t.Errorf("counted %d and %v, want 3", l.all, l.peers)
	}
	for range 3 {
		l.leave("192.0.2.7")
	}
	if l.all != 0 || len(l.peers) != 0 {
		t.Errorf("after all have left, %d and %v are still counted", l.all, l.peers)
	}
}

func TestVisitorsRequestsAreBounded(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	now := time.Unix(1e9, 0)
	s.access.now = func() time.Time { return now }
	cookie := enter(t, h, s.access.Key(Watcher))
	headers := map[string]string{"Cookie": cookie.Name + "=" + cookie.Value}
	allowed := 0
	for range requestBurst + 50 {
		if status, _ := request(t, h, "GET", "/", "", headers); status == 200 {
			allowed++
		} else if status != 429 {
			t.Fatalf("status %d, want 200 or 429", status)
		}
	}
	if allowed != requestBurst {
		t.Errorf("%d requests at once were answered, want %d", allowed, requestBurst)
	}
	now = now.Add(time.Second)
	allowed = 0
	for range 2 * requestsPerSecond {
		if status, _ := request(t, h, "GET", "/", "", headers); status == 200 {
			allowed++
		}
	}
	if allowed != requestsPerSecond {
		t.Errorf("%d requests were answered in the next second, want %d", allowed, requestsPerSecond)
	}
	// Another visitor does not pay for it.
	other := enter(t, h, s.access.Key(Watcher))
	if status, _ := request(t, h, "GET", "/", "", map[string]string{"Cookie": other.Name + "=" + other.Value}); status != 200 {
		t.Errorf("another visitor got %d", status)
	}
}

func TestVisitorsStreamsAreBounded(t *testing.T) {
	s, _ := demoServer(t)
	h := away(t, s)
	cookie := enter(t, h, s.access.Key(Watcher))
	header := http.Header{"Cookie": {cookie.Name + "=" + cookie.Value}}
	for range mostStreams {
		if _, _, err := dial(t, h, header); err != nil {
			t.Fatal(err)
		}
	}
	if _, response, err := dial(t, h, header); err == nil || response == nil || response.StatusCode != 429 {
		t.Errorf("stream %d of one visitor got %v, want 429", mostStreams+1, response)
	}
}

func TestPingFloodIsCutOff(t *testing.T) {
	h := demo(t)
	c, _, err := dial(t, h, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	go func() {
		for i := 0; i < 100*mostPings && c.Write(ctx, websocket.MessageText, fmt.Appendf(nil, `{"type":"ping","id":%d}`, i)) == nil; i++ {
		}
	}()
	for {
		if _, _, err := c.Read(ctx); err != nil {
			if ctx.Err() != nil {
				t.Error("a flood of pings was not cut off")
			}
			return
		}
	}
}

// FuzzPong: whatever a page sends is refused or answered by JSON of the same id.
func FuzzPong(f *testing.F) {
	for _, s := range []string{`{"type":"ping","id":7}`, `{"type":"ping"}`, `{"type":"ping","id":{"a":[1,"x"]}}`, `{"type":"pong"}`, `{`, "\xff", `{"TYPE":"ping"}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, ping []byte) {
		answer, ok := pong(ping)
		if !ok {
			return
		}
		if len(answer) > 300 || !strings.Contains(string(answer), `"type":"pong"`) {
			t.Errorf("%q answered by %q", ping, answer)
		}
		if again, ok := pong([]byte(strings.Replace(string(answer), "pong", "ping", 1))); !ok || string(again) != string(answer) {
			t.Errorf("%q answered by %q, that again by %q", ping, answer, again)
		}
	})
}

// TestOneAddressCannotKeepOthersOut: wrong keys, and many visits, of one address
// leave the way in open for the rest.
func TestOneAddressCannotKeepOthersOut(t *testing.T) {
	a, err := newAccess("")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Unix(1e9, 0)
	a.now = func() time.Time { return now }
	for range 2 * failuresPerMinute {
		_, _ = a.enter("guess", "192.0.2.66", nil)
	}
	if _, err := a.enter(a.Key(Watcher), "192.0.2.66", nil); err != errGuessing {
		t.Errorf("the guesser itself: %v, want %v", err, errGuessing)
	}
	owner, err := a.enter(a.Key(Owner), "192.0.2.7", nil)
	if err != nil {
		t.Fatalf("another address: %v", err)
	}
	busy, _ := a.enter(a.Key(Watcher), "192.0.2.8", nil)
	a.openStream(busy)
	idle, _ := a.enter(a.Key(Watcher), "192.0.2.8", nil)
	let := map[error]int{}
	for i := range 3 * mostVisitors {
		if i%entriesPerMinute == 0 {
			now = now.Add(61 * time.Second)
		}
		if now.Sub(idle.asked) >= idleFor { // it looks at the page now and then
			a.spend(idle)
		}
		_, err := a.enter(a.Key(Watcher), "192.0.2.67", nil)
		let[err]++
	}
	if owner.gone.Err() != nil || busy.gone.Err() != nil || idle.gone.Err() != nil {
		t.Error("visits of another address threw out an owner or somebody else")
	}
	if n := len(a.Visitors()); n != mostVisitorsOfOne+3 || let[errFullHouse] == 0 {
		t.Errorf("%d visitors, %v; want %d of one address", n, let, mostVisitorsOfOne)
	}
	for range entriesPerMinute + 1 {
		_, err = a.enter(a.Key(Watcher), "192.0.2.68", nil)
	}
	if err == nil {
		t.Errorf("%d entries within a minute were taken", entriesPerMinute+1)
	}
	if again, err := a.enter(a.Key(Watcher), "192.0.2.8", busy); err != nil || again != busy {
		t.Errorf("who is in already became somebody else: %v", err)
	}
	// A watcher who is given the owner's link becomes an owner.
	if up, err := a.enter(a.Key(Owner), "192.0.2.8", busy); err != nil || up == busy || !up.Owner {
		t.Errorf("the owner's link gave %+v, %v", up, err)
	}
	for i := range 2 * mostGuessers {
		_, _ = a.enter("guess", fmt.Sprint("address ", i), nil)
	}
	if n := len(a.failures); n > mostGuessers {
		t.Errorf("%d addresses are counted, want %d at most", n, mostGuessers)
	}
}

// TestSharingByTLS shares under a certificate: the link names the certificate's
// host, the page is reached by it, and plain HTTP is not.
func TestSharingByTLS(t *testing.T) {
	s, _ := demoServer(t)
	pair, roots := testCertificate(t, "bench.school.example", "127.0.0.1")
	s.tls = &tls.Config{Certificates: []tls.Certificate{pair}}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.Sharing.attach(l)
	defer func() { _ = s.Sharing.Stop() }()
	state := s.Sharing.State()
	if !state.Secure || len(state.Watch) != 2 || !strings.HasPrefix(state.Watch[0], "https://bench.school.example:") || !strings.HasPrefix(state.Watch[1], "https://127.0.0.1:") {
		t.Fatalf("links %v, want the certificate's name, then its address", state.Watch)
	}
	client := &http.Client{Transport: &http.Transport{
		TLSClientConfig: &tls.Config{RootCAs: roots},
		DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, network, l.Addr().String())
		}}}
	response, err := client.Get(state.Watch[0])
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if c := response.Cookies(); response.StatusCode != 200 || len(c) != 1 || !c[0].Secure {
		t.Errorf("%d, cookies %v, want one that is sent by HTTPS only", response.StatusCode, c)
	}
	if response, err := client.Get("https://bench.school.example/"); err != nil || response.StatusCode != 401 {
		t.Errorf("without the cookie: %v, %v, want 401", response, err)
	}
	c, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: bench.school.example\r\n\r\n")
	if line, _ := bufio.NewReader(c).ReadString('\n'); strings.Contains(line, "200") {
		t.Errorf("plain HTTP got %q", line)
	}
}

// testCertificate signs itself for hosts.
func testCertificate(t *testing.T, hosts ...string) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Evening class"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else {
			template.DNSNames = append(template.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key, Leaf: leaf}, roots
}
