package server

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"github.com/go-chi/chi/v5"
	"github.com/skip2/go-qrcode"
)

// Sharing opens the page to other computers of the network while it is on.
type Sharing struct {
	// Immutable after New.
	server *Server

	serving sync.WaitGroup

	// Guarded by mu.
	mu       sync.Mutex
	listener net.Listener
	running  *http.Server // nil: Serve's own, which other computers can reach
}

// ShareState is what GET /share answers an owner.
type ShareState struct {
	On       bool      `json:"on"`
	Secure   bool      `json:"secure"`
	Watch    []string  `json:"watch"` // links, one for each address of this computer
	Own      []string  `json:"own"`
	Short    []string  `json:"short"` // watch only, to be typed; for this sharing alone
	Visitors []Visitor `json:"visitors"`
}

// Start listens on all addresses, at port; 0 is the port asked for on the command line,
// else the last one, else any. It does nothing when on already.
func (s *Sharing) Start(port int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.listener != nil {
		return nil
	}
	if port == 0 {
		port = s.server.sharePort
	}
	last := port == 0
	if last {
		port = s.server.access.Port()
	}
	l, err := net.Listen("tcp", net.JoinHostPort("", strconv.Itoa(port)))
	if err != nil && last {
		l, err = net.Listen("tcp", ":0")
	}
	if err != nil {
		return fmt.Errorf("sharing: cannot listen on port %d: %w; choose another port, or 0 for any free one", port, err)
	}
	s.attach(l)
	s.server.access.NewCode()
	if a, ok := l.Addr().(*net.TCPAddr); ok {
		if err := s.server.access.KeepPort(a.Port); err != nil {
			s.server.log.Warn("the links will be others next time", "err", err)
		}
	}
	return nil
}

func (s *Sharing) attach(l net.Listener) {
	l = s.server.guard(l)
	running := s.server.httpServer()
	s.listener, s.running = l, running
	s.serving.Go(func() { _ = running.Serve(l) })
}

// ErrStaysShared answers a Stop when the page itself is served to the network.
var ErrStaysShared = errors.New("the page is served to the network by -listen: it is shared until the program ends; new links keep out those who came by the old ones")

// Stop closes the page to others at once. Who watches then is let in again by the next Start.
func (s *Sharing) Stop() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.listener == nil {
		return nil
	}
	if s.running == nil {
		return ErrStaysShared
	}
	_ = s.running.Close()
	s.serving.Wait()
	s.running, s.listener = nil, nil
	s.server.access.StopCode()
	s.server.access.Rest()
	return nil
}

// State tells how things stand, with the links.
func (s *Sharing) State() ShareState {
	s.mu.Lock()
	l := s.listener
	s.mu.Unlock()
	state := ShareState{On: l != nil, Secure: s.server.tls != nil, Watch: []string{}, Own: []string{}, Short: []string{}, Visitors: []Visitor{}}
	if l != nil {
		state.Visitors = s.server.access.Visitors()
		state.Watch, state.Own = s.Links(l)
		if code := s.server.access.Code(); code != "" {
			for _, link := range state.Watch {
				base, _, _ := strings.Cut(link, "?")
				state.Short = append(state.Short, base+code)
			}
		}
	}
	return state
}

// Links are a watcher's and an owner's links to a listener that other computers
// can reach, one for each name or address of this computer.
func (s *Sharing) Links(l net.Listener) (watch, own []string) {
	address, ok := l.Addr().(*net.TCPAddr)
	if !ok {
		return nil, nil
	}
	hosts := lanAddresses()
	if !address.IP.IsUnspecified() {
		hosts = []string{address.IP.String()}
	}
	scheme := "http"
	if s.server.tls != nil {
		scheme = "https"
		if certified := s.certifiedHosts(hosts); len(certified) > 0 {
			hosts = certified
		}
	}
	for _, host := range hosts {
		base := scheme + "://" + net.JoinHostPort(host, strconv.Itoa(address.Port)) + "/?key="
		watch = append(watch, base+s.server.access.Key(Watcher))
		own = append(own, base+s.server.access.Key(Owner))
	}
	return watch, own
}

// certifiedHosts are the names the certificate is for and those of the addresses
// that it is for.
func (s *Sharing) certifiedHosts(addresses []string) []string {
	var hosts []string
	if leaf := s.server.leaf(); leaf != nil {
		for _, name := range leaf.DNSNames {
			if !strings.HasPrefix(name, "*.") {
				hosts = append(hosts, name)
			}
		}
	}
	for _, a := range addresses {
		if s.server.certified(a) {
			hosts = append(hosts, a)
		}
	}
	return hosts
}

// lanAddresses are this computer's addresses others may reach it under, IPv4 first.
func lanAddresses() []string {
	all, _ := net.InterfaceAddrs()
	var four, six []string
	for _, a := range all {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.IsLoopback() || !n.IP.IsGlobalUnicast() {
			continue
		}
		if n.IP.To4() != nil {
			four = append(four, n.IP.String())
		} else {
			six = append(six, n.IP.String())
		}
	}
	if list := append(four, six...); len(list) > 0 {
		return list
	}
	return []string{"127.0.0.1"}
}

func (s *Server) getShare(w http.ResponseWriter, _ *http.Request) {
	Answer(w, s.Sharing.State())
}

// shareBody switches sharing.
type shareBody struct {
	On    bool `json:"on"`
	Port  int  `json:"port"`
	Renew bool `json:"renew"` // make the old links useless
}

func (s *Server) putShare(w http.ResponseWriter, r *http.Request) {
	var body shareBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if body.Port < 0 || body.Port > 65535 {
		fail(w, http.StatusBadRequest, fmt.Sprintf("port %d: give 0 for any free one, or 1 to 65535", body.Port))
		return
	}
	if body.Renew {
		if err := s.access.Renew(Watcher, Owner); err != nil {
			Fail(w, err)
			return
		}
	}
	if body.On {
		if err := s.Sharing.Start(body.Port); err != nil {
			Fail(w, err)
			return
		}
	} else if err := s.Sharing.Stop(); err != nil {
		FailWith(w, http.StatusConflict, err)
		return
	}
	Answer(w, s.Sharing.State())
}

func (s *Server) deleteVisitors(w http.ResponseWriter, _ *http.Request) {
	s.access.RemoveAll()
	Answer(w, s.Sharing.State())
}

func (s *Server) deleteVisitor(w http.ResponseWriter, r *http.Request) {
	id, err := strconv.Atoi(chi.URLParam(r, "id"))
	if err != nil || !s.access.Remove(id) {
		fail(w, http.StatusNotFound, "no such visitor: it may have left already")
		return
	}
	Answer(w, s.Sharing.State())
}

func (s *Server) getShareQR(w http.ResponseWriter, r *http.Request) {
	state := s.Sharing.State()
	links := state.Watch
	switch r.URL.Query().Get("for") {
	case "owner":
		links = state.Own
	case "short":
		links = state.Short
	}
	if len(links) == 0 {
		fail(w, http.StatusConflict, "the page is not shared: switch sharing on first")
		return
	}
	n, _ := strconv.Atoi(r.URL.Query().Get("n"))
	link := links[min(max(0, n), len(links)-1)]
	if r.URL.Query().Get("view") == "show" {
		sign := "?"
		if strings.Contains(link, sign) {
			sign = "&"
		}
		link += sign + "view=show"
	}
	png, err := qrcode.Encode(link, qrcode.Medium, 512)
	if err != nil {
		Fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "image/png")
	_, _ = w.Write(png)
}

// ownerOnly guards what even looking at is the owner's alone.
func ownerOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if accessOf(r).role != Owner {
			fail(w, http.StatusForbidden, "this is a watch-only page: only the owner can see this")
			return
		}
		next.ServeHTTP(w, r)
	})
}
