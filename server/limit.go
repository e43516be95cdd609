package server

import (
	"crypto/tls"
	"io"
	"net"
	"net/http"
	"sync"
	"time"
)

const (
	// headerPatience is how long a peer may take over its header, bodyPatience over
	// each paceBytes of what it sends or takes.
	headerPatience = 5 * time.Second
	bodyPatience   = 30 * time.Second
	// paceBytes of a body or an answer go over the line at a time.
	paceBytes = 64 << 10
	// mostConnections bounds what other computers may hold open, all together and
	// from one address. One address may stand for a whole class behind a router. Beyond
	// mostConnections an address that holds fewer than fewConnections still gets in, up to
	// a quarter more in all, so that a few crowded ones keep nobody else out.
	mostConnections      = 4096
	mostConnectionsOfOne = 512
	fewConnections       = 8
	// A visitor may ask requestsPerSecond on average and requestBurst at once:
	// opening the page takes about a hundred.
	requestsPerSecond = 20
	requestBurst      = 300
	// mostStreams is how many pages one visitor may have open.
	mostStreams = 16
)

// pace ends a connection whose peer sends its body or takes its answer too slowly:
// each paceBytes within bodyPatience. The stream has its own watch.
func (s *Server) pace(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := http.NewResponseController(w)
		_ = c.SetWriteDeadline(time.Now().Add(s.patience))
		if r.Body != nil && r.Body != http.NoBody {
			r.Body = &pacedBody{body: r.Body, line: c, start: time.Now(), patience: s.patience}
		}
		next.ServeHTTP(&pacedWriter{w, c, s.patience}, r)
		_ = c.SetWriteDeadline(time.Now().Add(s.patience)) // for what is still in the server's buffer
	})
}

type pacedWriter struct {
	http.ResponseWriter
	line     *http.ResponseController
	patience time.Duration
}

// Unwrap is for http.ResponseController.
func (w *pacedWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *pacedWriter) Write(p []byte) (n int, err error) {
	for {
		_ = w.line.SetWriteDeadline(time.Now().Add(w.patience))
		k, err := w.ResponseWriter.Write(p[:min(len(p), paceBytes)])
		n += k
		if p = p[k:]; err != nil || len(p) == 0 {
			return n, err
		}
	}
}

// pacedBody lets a body take patience for each paceBytes of it, and as long once more.
type pacedBody struct {
	body     io.ReadCloser
	line     *http.ResponseController
	start    time.Time
	patience time.Duration
	got      int64
}

func (b *pacedBody) Read(p []byte) (int, error) {
	_ = b.line.SetReadDeadline(b.start.Add(time.Duration(float64(b.patience) * (1 + float64(b.got)/paceBytes))))
	n, err := b.body.Read(p[:min(len(p), paceBytes)])
	b.got += int64(n)
	return n, err
}

func (b *pacedBody) Close() error { return b.body.Close() }

// crowdedListener closes connections beyond what it may hold, all together and
// from one address. This computer itself is not limited.
type crowdedListener struct {
	net.Listener
	most, mostOfOne int

	// Guarded by mu.
	mu    sync.Mutex
	all   int
	peers map[string]int
}

func newCrowdedListener(l net.Listener, most, mostOfOne int) *crowdedListener {
	return &crowdedListener{Listener: l, most: most, mostOfOne: mostOfOne, peers: map[string]int{}}
}

// Accept implements net.Listener.
func (l *crowdedListener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		host, _, _ := net.SplitHostPort(c.RemoteAddr().String())
		if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() {
			return c, nil
		}
		if !l.admit(host) {
			_ = c.Close()
			continue
		}
		return &crowdedConn{Conn: c, leave: sync.OnceFunc(func() { l.leave(host) })}, nil
	}
}

func (l *crowdedListener) admit(host string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	of := l.peers[host]
	if of >= l.mostOfOne || l.all >= l.most && of >= fewConnections || l.all >= l.most+l.most/4 {
		return false
	}
	l.all++
	l.peers[host]++
	return true
}

func (l *crowdedListener) leave(host string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all--
	if l.peers[host]--; l.peers[host] == 0 {
		delete(l.peers, host)
	}
}

type crowdedConn struct {
	net.Conn
	leave func()
}

func (c *crowdedConn) Close() error {
	c.leave()
	return c.Conn.Close()
}

// streamBuffer is how much the system may hold back for a slow page: its own buffer
// grows to megabytes, which would be minutes of signal.
const streamBuffer = 32 << 10

type lineKey struct{}

// shorten keeps the system from queueing much for a request's connection.
func shorten(r *http.Request) {
	line, _ := r.Context().Value(lineKey{}).(net.Conn)
	for {
		switch c := line.(type) {
		case *tls.Conn:
			line = c.NetConn()
		case *crowdedConn:
			line = c.Conn
		case *net.TCPConn:
			_ = c.SetWriteBuffer(streamBuffer)
			return
		default:
			return
		}
	}
}
