package server

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"html"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
)

// Role is what somebody may do.
type Role int

const (
	// Nobody sees nothing but how to get in.
	Nobody Role = iota
	// Watcher sees everything live and changes nothing.
	Watcher
	// Owner may do everything.
	Owner
)

const (
	cookieName = "pulsewright"
	// failuresPerMinute bounds how often wrong keys may be tried from one address.
	// A key has 128 bits: the bound only keeps things quiet, and is for each address
	// so that nobody can keep the others out.
	failuresPerMinute = 60
	// mostGuessers bounds how many addresses are counted.
	mostGuessers = 1000
	// mostVisitors bounds the list of those let in, mostVisitorsOfOne those from one
	// address, which may stand for a class behind a router; idleFor is how long one
	// without an open page stays when the list is full.
	mostVisitors      = 1000
	mostVisitorsOfOne = 100
	idleFor           = 10 * time.Minute
	// entriesPerMinute bounds how often one address may come in.
	entriesPerMinute = 120
)

// Access decides who may do what. A connection from this computer itself is the
// owner's, unless another user of it holds the far end (see otherUser). From elsewhere a link with a key is needed, which is exchanged for a
// same-site cookie at once, so that it does not stay in the address; keys and
// cookies are compared in constant time and never logged.
type Access struct {
	// Immutable after newAccess.
	now  func() time.Time
	path string // of the file that keeps the links, "" for none

	// Guarded by mu.
	mu       sync.Mutex
	keys     map[Role]string
	port     int
	code     string // a short way to watch, "" while nothing is shared
	visitors []*Visitor
	lastID   int
	failures map[string][]time.Time // wrong keys of the last minute by address
	entries  map[string][]time.Time // right ones
}

// Visitor is somebody who came in by a link.
type Visitor struct {
	ID      int       `json:"id"`
	Owner   bool      `json:"owner"`
	Address string    `json:"address"`
	Since   time.Time `json:"since"`
	Streams int       `json:"streams"`

	token  string
	role   Role
	tokens float64 // requests that may be made at once, as of the time asked
	asked  time.Time
	gone   context.Context
	revoke context.CancelCauseFunc
}

// newAccess takes the links that path keeps. An error says why they are new ones.
func newAccess(path string) (*Access, error) {
	l, err := loadLinks(path)
	return &Access{now: time.Now, path: path, keys: map[Role]string{Watcher: l.Watch, Owner: l.Own}, port: l.Port,
		failures: map[string][]time.Time{}, entries: map[string][]time.Time{}}, err
}

// keep writes the links down. Called with mu held.
func (a *Access) keep() error {
	return saveLinks(a.path, Links{Watch: a.keys[Watcher], Own: a.keys[Owner], Port: a.port})
}

// Port is where the page was shared last; KeepPort remembers it, with the links.
func (a *Access) Port() int { a.mu.Lock(); defer a.mu.Unlock(); return a.port }

// KeepPort remembers where the page is shared, and the links.
func (a *Access) KeepPort(port int) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.port = port
	return a.keep()
}

// Code is a short way to watch while the page is shared, "" otherwise.
func (a *Access) Code() string { a.mu.Lock(); defer a.mu.Unlock(); return a.code }

// NewCode makes another one; StopCode none.
func (a *Access) NewCode() { a.mu.Lock(); a.code = randomCode(); a.mu.Unlock() }

// StopCode makes the short way useless.
func (a *Access) StopCode() { a.mu.Lock(); a.code = ""; a.mu.Unlock() }

// randomKey has 128 bits.
func randomKey() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// Key returns the key of a role's link.
func (a *Access) Key(r Role) string {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.keys[r]
}

// Renew makes the old links of roles useless and throws out those who came by them.
func (a *Access) Renew(roles ...Role) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, r := range roles {
		a.keys[r] = randomKey()
		if r == Watcher && a.code != "" {
			a.code = randomCode()
		}
	}
	a.remove(roles...)
	return a.keep()
}

// RemoveAll throws everybody out; by the links they may come again.
func (a *Access) RemoveAll() { a.mu.Lock(); defer a.mu.Unlock(); a.remove(Watcher, Owner) }

// Rest ends the streams of all: owners must come anew, watchers are let in again by themselves once the page is shared again.
func (a *Access) Rest() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.remove(Owner)
	for i, v := range a.visitors {
		v.revoke(errSharingEnded)
		again := *v // whose streams, which end now, are not counted
		again.Streams = 0
		again.gone, again.revoke = context.WithCancelCause(context.Background())
		a.visitors[i] = &again
	}
}

func (a *Access) remove(roles ...Role) {
	a.visitors = slices.DeleteFunc(a.visitors, func(v *Visitor) bool {
		if slices.Contains(roles, v.role) {
			v.revoke(errLinkClosed)
			return true
		}
		return false
	})
}

// Visitors lists those who are in.
func (a *Access) Visitors() []Visitor {
	a.mu.Lock()
	defer a.mu.Unlock()
	list := make([]Visitor, len(a.visitors))
	for i, v := range a.visitors {
		list[i] = *v
	}
	return list
}

// Remove throws one visitor out and reports whether there was one.
func (a *Access) Remove(id int) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	for i, v := range a.visitors {
		if v.ID == id {
			v.revoke(errLinkClosed)
			a.visitors = slices.Delete(a.visitors, i, i+1)
			return true
		}
	}
	return false
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// errors of enter.
var (
	errWrongKey  = errors.New("this link's key is not valid (any more): ask the owner for a new link")
	errGuessing  = errors.New("too many wrong keys from this address: wait a minute, then use the link as it was given")
	errHasty     = errors.New("too many pages were opened from this address within a minute: wait a minute, then use the link again")
	errFullHouse = fmt.Errorf("%d visitors are here already: ask the owner to remove some", mostVisitors)
)

// enter lets somebody in by a key. Who holds a visitor's cookie of the same role
// already stays that visitor.
func (a *Access) enter(key, address string, known *Visitor) (*Visitor, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now()
	role := Nobody
	for _, r := range []Role{Watcher, Owner} { // both are compared, whichever fits
		if same(key, a.keys[r]) {
			role = r
		}
	}
	if a.code != "" && same(strings.ToLower(key), a.code) {
		role = Watcher
	}
	if recent := recentOf(a.failures, address, now); len(recent) >= failuresPerMinute {
		return nil, errGuessing
	} else if role == Nobody {
		if len(recent) > 0 || len(a.failures) < mostGuessers {
			a.failures[address] = append(recent, now)
		}
		return nil, errWrongKey
	}
	if known != nil && known.role == role && slices.Contains(a.visitors, known) {
		return known, nil
	}
	recent := recentOf(a.entries, address, now)
	if len(recent) >= entriesPerMinute {
		return nil, errHasty
	}
	a.entries[address] = append(recent, now)
	if !a.room(address, now) {
		return nil, errFullHouse
	}
	a.lastID++
	v := &Visitor{ID: a.lastID, Owner: role == Owner, Address: address, Since: now, token: randomKey(), role: role, tokens: requestBurst, asked: now}
	v.gone, v.revoke = context.WithCancelCause(context.Background())
	a.visitors = append(a.visitors, v)
	return v, nil
}

// room makes room for one more from address, if it can: of those from the same address
// beyond mostVisitorsOfOne, else of all beyond mostVisitors, who has had no page open for
// idleFor goes. Called with mu held.
func (a *Access) room(address string, now time.Time) bool {
	of := 0
	for _, v := range a.visitors {
		if v.Address == address {
			of++
		}
	}
	crowd, full := of >= mostVisitorsOfOne, len(a.visitors) >= mostVisitors
	if !crowd && !full {
		return true
	}
	idle := slices.IndexFunc(a.visitors, func(v *Visitor) bool {
		return v.role == Watcher && v.Streams == 0 && now.Sub(v.asked) >= idleFor && (!crowd || v.Address == address)
	})
	if idle < 0 {
		return false
	}
	a.visitors[idle].revoke(errLinkClosed)
	a.visitors = slices.Delete(a.visitors, idle, idle+1)
	return true
}

// recentOf forgets what is over a minute old and returns an address's part.
func recentOf(list map[string][]time.Time, address string, now time.Time) []time.Time {
	for from, times := range list {
		times = slices.DeleteFunc(times, func(t time.Time) bool { return now.Sub(t) > time.Minute })
		if list[from] = times; len(times) == 0 {
			delete(list, from)
		}
	}
	return list[address]
}

// spend counts a visitor's request and tells whether it may be made.
func (a *Access) spend(v *Visitor) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now()
	v.tokens = min(requestBurst, v.tokens+requestsPerSecond*max(0, now.Sub(v.asked).Seconds()))
	v.asked = now
	if v.tokens < 1 {
		return false
	}
	v.tokens--
	return true
}

// visitor finds who holds a request's cookie.
func (a *Access) visitor(r *http.Request) *Visitor {
	c, err := r.Cookie(cookieName)
	if err != nil {
		return nil
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	var found *Visitor
	for _, v := range a.visitors {
		if same(c.Value, v.token) {
			found = v
		}
	}
	return found
}

// role tells what a request may do, and the visitor when there is one.
func (a *Access) role(r *http.Request) (Role, *Visitor) {
	if fromHere(r) && r.Context().Value(strangerKey{}) == nil {
		return Owner, nil
	}
	if v := a.visitor(r); v != nil {
		return v.role, v
	}
	return Nobody, nil
}

// openStream counts a visitor's stream, unless there are too many.
func (a *Access) openStream(v *Visitor) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	if v.Streams >= mostStreams {
		return false
	}
	v.Streams++
	return true
}

func (a *Access) closeStream(v *Visitor) {
	a.mu.Lock()
	defer a.mu.Unlock()
	v.Streams--
}

// fromHere tells that a request's connection and its Host are this computer's own,
// and that no proxy passed it on for somebody else.
func fromHere(r *http.Request) bool {
	for _, passedOn := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip"} {
		if r.Header.Get(passedOn) != "" {
			return false
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	ip := net.ParseIP(host)
	if err != nil || ip == nil || !ip.IsLoopback() {
		return false
	}
	name := hostName(r.Host)
	named := net.ParseIP(name)
	return strings.EqualFold(name, "localhost") || named != nil && named.IsLoopback()
}

type roleKey struct{}

// strangerKey marks the connections of other users of this computer.
type strangerKey struct{}

// requireRole exchanges a key for a cookie, turns away who has neither, and keeps
// watchers from everything but looking.
func (s *Server) requireRole(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if key := r.URL.Query().Get("key"); key != "" && r.Method == http.MethodGet && r.URL.Path == "/" {
			next := "/"
			if r.URL.Query().Get("view") == "show" {
				next = showPage // nothing else of the link is repeated
			}
			s.exchange(w, r, key, next)
			return
		}
		role, visitor := s.access.role(r)
		if role != Nobody && r.Method == http.MethodGet && isCode(r.URL.Path) { // that was typed, right or wrong
			http.Redirect(w, r, showPage, http.StatusSeeOther)
			return
		}
		if role == Nobody && r.Method == http.MethodGet && len(r.URL.Path) == codeLength+1 {
			s.exchange(w, r, strings.ToLower(r.URL.Path[1:]), showPage)
			return
		}
		if role == Nobody && r.Context().Value(strangerKey{}) != nil {
			turnAway(w, r, http.StatusUnauthorized, "this program was started by another user of this computer: ask them for a link")
			return
		}
		if role == Nobody {
			turnAway(w, r, http.StatusUnauthorized, "this page is shared by a link with a key: ask its owner for the link")
			return
		}
		if visitor != nil && !s.access.spend(visitor) {
			w.Header().Set("Retry-After", "5")
			fail(w, http.StatusTooManyRequests, fmt.Sprintf("too many requests: %d a second are allowed, %d at once", requestsPerSecond, requestBurst))
			return
		}
		if role == Watcher && r.Method != http.MethodGet && r.Method != http.MethodHead {
			fail(w, http.StatusForbidden, "this is a watch-only page: only the owner can change things")
			return
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), roleKey{}, grant{role, visitor})))
	})
}

type grant struct {
	role    Role
	visitor *Visitor
}

func accessOf(r *http.Request) grant {
	a, _ := r.Context().Value(roleKey{}).(grant)
	return a
}

// showPage is the view for a room: what a picture code over it leads to and, since a class types it from there, the short
// link.
const showPage = "/?view=show"

// exchange lets somebody in by a key, to a page.
func (s *Server) exchange(w http.ResponseWriter, r *http.Request, key, next string) {
	address, _, _ := net.SplitHostPort(r.RemoteAddr)
	v, err := s.access.enter(key, address, s.access.visitor(r))
	if err != nil {
		status := http.StatusUnauthorized
		switch err {
		case errGuessing, errHasty:
			w.Header().Set("Retry-After", "60")
			status = http.StatusTooManyRequests
		case errFullHouse:
			status = http.StatusServiceUnavailable
		}
		turnAway(w, r, status, err.Error())
		return
	}
	s.log.Info("a visitor came in", "address", address, "owner", v.Owner)
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: v.token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil})
	// A same-site cookie set in this answer would not be sent with a redirect that
	// began on another site, so the page itself moves on.
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Refresh", "0; url="+next)
	plainPage(w, http.StatusOK, `<a href="`+next+`">Go on to the page</a>`)
}

// turnAway tells why there is no way in: a person by a page, a program by JSON.
func turnAway(w http.ResponseWriter, r *http.Request, status int, text string) {
	if r.Method != http.MethodGet || !strings.Contains(r.Header.Get("Accept"), "text/html") {
		fail(w, status, text)
		return
	}
	w.Header().Set("Cache-Control", "no-store")
	plainPage(w, status, html.EscapeString(strings.ToUpper(text[:1])+text[1:]+"."))
}

// plainPage is for those who may not see the page's own style.
func plainPage(w http.ResponseWriter, status int, line string) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = fmt.Fprintf(w, `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><meta name="color-scheme" content="light dark">`+
		`<title>Pulsewright</title><h1>Pulsewright</h1><p data-testid="turned-away">%s</p></html>`, line)
}
