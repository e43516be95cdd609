package server

import (
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"sync"

	"github.com/go-chi/chi/v5"
	"github.com/skip2/go-qrcode"
)

// Sharing opens the page to other computers of the network while it is on.
type Sharing struct {
	// Immutable after New.
	server *Server
	tls    *tls.Config // nil: plain HTTP

	// Guarded by mu.
	mu       sync.Mutex
	listener net.Listener
	running  *http.Server
}

// ShareState is what GET /share answers an owner.
type ShareState struct {
	On       bool      `json:"on"`
	Secure   bool      `json:"secure"`
	Watch    []string  `json:"watch"` // links, one for each address of this computer
	Own      []string  `json:"own"`
	Visitors []Visitor `json:"visitors"`
}

// Start listens on all addresses, at port (0: any). It does nothing when on already.
func (s *Sharing) Start(port int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.running != nil {
		return nil
	}
	l, err := net.Listen("tcp", net.JoinHostPort("", strconv.Itoa(port)))
	if err != nil {
		return fmt.Errorf("sharing: cannot listen on port %d: %w; choose another port, or 0 for any free one", port, err)
	}
	s.attach(l)
	return nil
}

func (s *Sharing) attach(l net.Listener) {
	if s.tls != nil {
		l = tls.NewListener(l, s.tls)
	}
	running := s.server.httpServer()
	s.listener, s.running = l, running
	go func() { _ = running.Serve(l) }()
}

// Stop closes the page to others at once.
func (s *Sharing) Stop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.running == nil {
		return
	}
	_ = s.running.Close()
	s.running, s.listener = nil, nil
	s.server.access.Renew(Watcher)
	s.server.access.Renew(Owner)
}

// State tells how things stand, with the links.
func (s *Sharing) State() ShareState {
	s.mu.Lock()
	l := s.listener
	s.mu.Unlock()
	state := ShareState{On: l != nil, Secure: s.tls != nil, Watch: []string{}, Own: []string{}, Visitors: s.server.access.Visitors()}
	if l == nil {
		return state
	}
	port := l.Addr().(*net.TCPAddr).Port
	for _, host := range lanAddresses() {
		base := "http"
		if s.tls != nil {
			base = "https"
		}
		base += "://" + net.JoinHostPort(host, strconv.Itoa(port)) + "/?key="
		state.Watch = append(state.Watch, base+s.server.access.Key(Watcher))
		state.Own = append(state.Own, base+s.server.access.Key(Owner))
	}
	return state
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

func (s *Server) shareRoutes(r chi.Router) {
	r.Get("/share", s.ownerOnly(func(w http.ResponseWriter, r *http.Request) { Answer(w, s.Sharing.State()) }))
	r.Put("/share", func(w http.ResponseWriter, r *http.Request) {
		var body struct {
			On    bool `json:"on"`
			Port  int  `json:"port"`
			Renew bool `json:"renew"` // make the old links useless
		}
		if !ReadJSON(w, r, &body) {
			return
		}
		if body.Port < 0 || body.Port > 65535 {
			fail(w, http.StatusBadRequest, fmt.Sprintf("port %d: give 0 for any free one, or 1 to 65535", body.Port))
			return
		}
		if body.Renew {
			s.access.Renew(Watcher)
			s.access.Renew(Owner)
		}
		if body.On {
			if err := s.Sharing.Start(body.Port); err != nil {
				Fail(w, err)
				return
			}
		} else {
			s.Sharing.Stop()
		}
		Answer(w, s.Sharing.State())
	})
	r.Delete("/share/visitors/{id}", func(w http.ResponseWriter, r *http.Request) {
		id, err := strconv.Atoi(chi.URLParam(r, "id"))
		if err != nil || !s.access.Remove(id) {
			fail(w, http.StatusNotFound, "no such visitor: it may have left already")
			return
		}
		Answer(w, s.Sharing.State())
	})
	r.Get("/share/qr", s.ownerOnly(func(w http.ResponseWriter, r *http.Request) {
		state := s.Sharing.State()
		links := state.Watch
		if r.URL.Query().Get("for") == "owner" {
			links = state.Own
		}
		if len(links) == 0 {
			fail(w, http.StatusConflict, "the page is not shared: switch sharing on first")
			return
		}
		n, _ := strconv.Atoi(r.URL.Query().Get("n"))
		link := links[min(max(0, n), len(links)-1)]
		if r.URL.Query().Get("view") == "show" {
			link += "&view=show"
		}
		png, err := qrcode.Encode(link, qrcode.Medium, 512)
		if err != nil {
			Fail(w, err)
			return
		}
		w.Header().Set("Content-Type", "image/png")
		_, _ = w.Write(png)
	}))
}

// ownerOnly guards what even looking at is the owner's alone.
func (s *Server) ownerOnly(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if accessOf(r).role != Owner {
			fail(w, http.StatusForbidden, "only the owner can see this")
			return
		}
		next(w, r)
	}
}
