// Package server is the program's web side: REST and the stream under /api/v1
// (see API.md) and the embedded page.
//
// Protections, since a browser will carry requests from any page to this port:
//   - it listens on loopback unless told otherwise;
//   - the Host header must be a loopback name, an IP address or a name that was
//     listened on, so that a foreign name bound to this address is refused (DNS
//     rebinding);
//   - a request with a foreign Origin is refused, on the websocket too, and so
//     is one that the browser marks as cross-site;
//   - whoever comes from another computer needs a link with a key, see Access; a
//     watcher can change nothing and sees no recordings, files or ports;
//   - bodies are limited and JSON is strict; who sends or takes too slowly, asks
//     too often or opens too many connections is cut off, see limit.go;
//   - the content security policy allows only what is embedded here.
package server

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"

	"pulsewright/acquire/bytestream"
	"pulsewright/acquire/soundcard"
	"pulsewright/server/session"
)

// Choice is a source that can be opened.
type Choice struct {
	Address string `json:"address"`
	Name    string `json:"name"`
	What    string `json:"what"`
}

// Choices is what GET /sources answers.
type Choices struct {
	Demos      []Choice `json:"demos"`
	Ports      []Choice `json:"ports"`
	Recordings []Choice `json:"recordings"`
	Sounds     []Choice `json:"sounds"`
	// Hosts are the addresses of this computer in its networks, where it can listen for
	// boards.
	Hosts []string `json:"hosts"`
	// Problems says what could not be listed and why.
	Problems []string `json:"problems"`
}

// Config of a Server.
type Config struct {
	Session *session.Session
	// Sources lists what can be opened.
	Sources func(ctx context.Context) Choices
	Page    fs.FS
	Log     *slog.Logger
	// Intervals, a tap of the session too, answers for the interval measures.
	Intervals *Intervals
	// OnBoard, a tap too, runs the firmware on the live counts.
	OnBoard *OnBoard
	// Names are host names besides loopback's under which the page may be opened.
	Names []string
	// TLS, when set, is used for whatever other computers can reach. The page may
	// then be opened under the certificate's names too.
	TLS *tls.Config
	// Card, when set, opens this computer's own sound card for measuring a board.
	Card func(input, output string, rateHz float64) (Card, error)
	// Audio, when set, takes the sound that the owner's page sends.
	Audio *soundcard.Browser
	// Ports, when set, takes what the owner's page reads from a serial port.
	Ports *bytestream.Pages
	// LinksFile keeps the links and the port of sharing; "" for this run alone. SharePort,
	// when above 0, is where the page is shared.
	LinksFile string
	SharePort int
	// Recordings is the folder of recordings; its zero value is none.
	Recordings Recordings
}

// Server answers the page.
type Server struct {
	session    *session.Session
	intervals  *Intervals
	onBoard    *OnBoard
	sources    func(ctx context.Context) Choices
	page       fs.FS
	log        *slog.Logger
	names      []string
	access     *Access
	recordings Recordings
	audio      *soundcard.Browser
	ports      *bytestream.Pages
	bench      bench
	presenter  presenter
	archives   archives
	card       openCard
	openCard   func(input, output string, rateHz float64) (Card, error)
	tls        *tls.Config
	sharePort  int
	// patience with slow peers, of headers and of bodies and answers.
	headerPatience, patience time.Duration
	more                     []func(r chi.Router) // routes of tests
	// Sharing opens the page to other computers.
	Sharing *Sharing
	stop    context.Context // done when the server shuts down
	cancel  context.CancelFunc
}

// New returns a server; Handler serves it.
func New(c Config) *Server {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	stop, cancel := context.WithCancel(context.Background())
	access, err := newAccess(c.LinksFile)
	if err != nil {
		c.Log.Warn("links", "err", err)
	}
	s := &Server{session: c.Session, sharePort: c.SharePort, intervals: c.Intervals, onBoard: c.OnBoard, sources: c.Sources, page: c.Page, log: c.Log, names: c.Names, tls: c.TLS, recordings: c.Recordings, audio: c.Audio, ports: c.Ports, openCard: c.Card,
		access: access, headerPatience: headerPatience, patience: bodyPatience, stop: stop, cancel: cancel}
	if s.onBoard == nil {
		s.onBoard = NewOnBoard()
	}
	s.Sharing = &Sharing{server: s}
	s.presenter = presenter{send: s.session.Send, after: time.AfterFunc, now: Presentation{Lanes: []PresentLane{}}}
	return s
}

// Handler has every route of the program in one list.
func (s *Server) Handler() http.Handler {
	r := chi.NewRouter()
	r.Use(s.recoverPanic, secureHeaders, s.checkHost, s.checkOrigin, s.requireRole)
	r.NotFound(func(w http.ResponseWriter, r *http.Request) {
		fail(w, http.StatusNotFound, "there is nothing at "+r.URL.Path)
	})
	r.MethodNotAllowed(func(w http.ResponseWriter, r *http.Request) {
		fail(w, http.StatusMethodNotAllowed, r.Method+" does not go with "+r.URL.Path)
	})
	r.Route("/api/v1", func(r chi.Router) {
		r.Get("/stream", s.getStream)
		r.Get("/audio", s.getAudio)
		r.Get("/serial", s.getSerial)
		r.Group(func(r chi.Router) {
			r.Use(s.pace, noStore)
			r.Get("/state", s.getState)
			r.Put("/source", s.putSource)
			r.Put("/playback", s.putPlayback)
			r.Put("/demo", s.putDemo)
			r.Put("/channels/{n}/kind", s.putKind)
			r.Put("/channels/{n}/path", s.putPath)
			r.Get("/channels/{n}/path/response", s.getResponse)
			r.Get("/channels/{n}/path/firmware", s.getFirmware)
			r.Put("/channels/{n}/scale", s.putScale)
			r.Post("/channels/{n}/calibration", s.postCalibration)
			r.Get("/channels/{n}/reading", s.getReading)
			r.Get("/channels/{n}/meters", s.getMeters)
			r.Get("/channels/{n}/why", s.getWhy)
			r.Get("/channels/{n}/spectrum", s.getSpectrum)
			r.Get("/channels/{n}/trimmer", s.getTrimmer)
			r.Get("/channels/{n}/variability", s.getVariability)
			r.Get("/history", s.getHistory)
			r.Get("/beats", s.getBeats)
			r.Post("/notes", s.postNote)
			r.Put("/presenter", s.putPresenter)
			r.Group(func(r chi.Router) {
				r.Use(ownerOnly)
				r.Get("/openapi.json", s.getOpenAPI)
				r.Get("/sources", s.getSources)
				r.Get("/sketch/{name}", s.getSketch)
				r.Get("/channels/{n}/path/firmware/seen", s.getOnBoard)
				r.Get("/board", s.getBoardKinds)
				r.Post("/board/figures", s.postBoardFigures)
				r.Post("/board/turn", s.postBoardTurn)
				r.Put("/channels/{n}/board", s.putBoard)
				r.Post("/channels/{n}/board/look", s.postBoardLook)
				r.Post("/channels/{n}/wire", s.postWire)
				r.Post("/channels/{n}/board/compare", s.postBoardCompare)
				r.Get("/response", s.getMeasured)
				r.Get("/response/stimulus", s.getStimulus)
				r.Post("/response/runs", s.postRun)
				r.Delete("/response", s.deleteRuns)
				r.Put("/response/card", s.putCard)
				r.Delete("/response/card", s.deleteCard)
				r.Post("/response/card/runs", s.postCardRun)
				r.Get("/share", s.getShare)
				r.Put("/share", s.putShare)
				r.Delete("/share/visitors", s.deleteVisitors)
				r.Delete("/share/visitors/{id}", s.deleteVisitor)
				r.Get("/share/qr", s.getShareQR)
				r.Group(func(r chi.Router) {
					r.Use(s.haveFolder)
					r.Get("/recording", s.getRecording)
					r.Post("/recording", s.postRecording)
					r.Delete("/recording", s.deleteRecording)
					r.Post("/keep", s.postKeep)
					r.Get("/recordings", s.getRecordings)
					r.Post("/recordings", s.postRecordings)
					r.Post("/recordings/preview", s.postPreview)
					r.Post("/archives", s.postArchive)
					r.Get("/archives/{id}", s.getArchive)
					r.Delete("/trash", s.deleteTrash)
					r.Get("/recordings/{id}", s.getRecordingDetail)
					r.Patch("/recordings/{id}", s.patchRecording)
					r.Delete("/recordings/{id}", s.trashRecording)
					r.Post("/recordings/{id}/restore", s.restoreRecording)
					r.Post("/recordings/{id}/notes", s.postRecordingNote)
					r.Delete("/recordings/{id}/notes", s.deleteRecordingNote)
					r.Get("/recordings/{id}/file", s.getRecordingFile)
					r.Get("/recordings/{id}/file/lost", s.getRecordingFileLost)
					r.Get("/recordings/{id}/view", s.getRecordingView)
					r.Get("/recordings/{id}/beats", s.getRecordingBeats)
					r.Patch("/recordings/{id}/beats", s.patchRecordingBeats)
					r.Get("/recordings/{id}/analysis", s.getRecordingAnalysis)
					r.Get("/recordings/{id}/variability", s.getRecordingVariability)
					r.Get("/recordings/{id}/score", s.getRecordingScore)
					r.Get("/recordings/{id}/taken", s.getRecordingTaken)
				})
				for _, add := range s.more {
					add(r)
				}
			})
		})
	})
	r.With(s.pace, noStore).Get("/metrics", s.metrics().ServeHTTP)
	page := http.FileServerFS(s.page)
	r.With(s.pace).Get("/*", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-cache")
		page.ServeHTTP(w, r)
	})
	return r
}

// Serve answers on l until ctx ends, then lets requests finish for 3 s at most.
// What other computers can reach is served by TLS when that is configured.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	h := s.httpServer()
	if !Local(l) {
		l = s.guard(l)
		s.Sharing.mu.Lock()
		s.Sharing.listener = l
		s.Sharing.mu.Unlock()
	}
	defer func() { _ = s.Sharing.Stop() }()
	defer func() { _ = s.card.swap(nil, 0) }()
	watching, stopWatching := context.WithCancel(ctx)
	var watch sync.WaitGroup
	watch.Go(func() { s.watchFiles(watching) })
	defer watch.Wait()
	defer stopWatching()
	ended := make(chan error, 1)
	go func() { ended <- h.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	s.cancel() // ends the streams, which Shutdown does not wait for
	grace, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	err := h.Shutdown(grace)
	if errors.Is(err, context.DeadlineExceeded) {
		return h.Close()
	}
	return err
}

// Local tells that only this computer can reach a listener.
func Local(l net.Listener) bool {
	a, ok := l.Addr().(*net.TCPAddr)
	return ok && a.IP.IsLoopback()
}

// guard is for listeners that other computers can reach.
func (s *Server) guard(l net.Listener) net.Listener {
	l = newCrowdedListener(l, mostConnections, mostConnectionsOfOne)
	if s.tls != nil {
		l = tls.NewListener(l, s.tls)
	}
	return l
}

func (s *Server) httpServer() *http.Server {
	return &http.Server{
		Handler:           s.Handler(),
		ReadHeaderTimeout: s.headerPatience,
		ReadTimeout:       s.patience, // pace gives a body that keeps coming more
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ConnContext:       connContext,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
	}
}

// connContext tells a request's connection, and marks those of other users of this computer.
func connContext(ctx context.Context, c net.Conn) context.Context {
	ctx = context.WithValue(ctx, lineKey{}, c)
	if otherUser(c) {
		ctx = context.WithValue(ctx, strangerKey{}, true)
	}
	return ctx
}

func (s *Server) recoverPanic(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				s.log.Error("a handler failed", "path", r.URL.Path, "panic", p, "stack", string(debug.Stack()))
				fail(w, http.StatusInternalServerError, "the program failed at this request; its log says where")
			}
		}()
		next.ServeHTTP(w, r)
	})
}

// checkHost refuses a Host that somebody else's name service may have made up.
func (s *Server) checkHost(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !s.hostAllowed(r.Host) {
			fail(w, http.StatusMisdirectedRequest, "host "+quoteShort(r.Host)+": open the page under the address the program printed")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) hostAllowed(host string) bool {
	name := hostName(host)
	if strings.EqualFold(name, "localhost") || net.ParseIP(name) != nil {
		return true
	}
	for _, n := range s.names {
		if strings.EqualFold(n, name) {
			return true
		}
	}
	return s.certified(name)
}

// certified tells that the certificate is for a host.
func (s *Server) certified(host string) bool {
	leaf := s.leaf()
	return leaf != nil && leaf.VerifyHostname(host) == nil
}

// leaf is the certificate shown to other computers, nil without one.
func (s *Server) leaf() *x509.Certificate {
	if s.tls == nil || len(s.tls.Certificates) == 0 {
		return nil
	}
	return s.tls.Certificates[0].Leaf
}

// hostName is a Host header's name or address without port and brackets.
func hostName(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	return strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
}

// checkOrigin refuses what another site's page sends.
func (s *Server) checkOrigin(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if origin := r.Header.Get("Origin"); origin != "" && !sameOrigin(origin, r) {
			fail(w, http.StatusForbidden, "origin "+quoteShort(origin)+": only the program's own page may ask this")
			return
		}
		site := r.Header.Get("Sec-Fetch-Site")
		api := strings.HasPrefix(r.URL.Path, "/api/") || r.URL.Path == "/metrics"
		if api && site != "" && site != "same-origin" && site != "none" {
			fail(w, http.StatusForbidden, "a request from another site: only the program's own page may ask this")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func sameOrigin(origin string, r *http.Request) bool {
	scheme := "http://"
	if r.TLS != nil {
		scheme = "https://"
	}
	return strings.EqualFold(origin, scheme+r.Host)
}

func secureHeaders(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "+
			"font-src 'self'; connect-src 'self'; media-src 'self' blob:; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(self)")
		next.ServeHTTP(w, r)
	})
}

func noStore(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}
