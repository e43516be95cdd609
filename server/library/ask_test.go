package library

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"pulsewright/server/library/recorder"
)

// Program makes the program's routes over a library; the tests outside of this package set it,
// since the program's web side imports the library.
var Program func(store *Store, recorder *recorder.Recorder, reviews *Reviews, mostBytes int64) http.Handler

// asked sends a request below /api/v1 to the program's routes, as the owner.
func asked(h http.Handler, r *http.Request) *httptest.ResponseRecorder {
	r.Host, r.RemoteAddr = "127.0.0.1", "127.0.0.1:50000"
	r.URL.Path = "/api/v1" + r.URL.Path
	if r.URL.RawPath != "" {
		r.URL.RawPath = "/api/v1" + r.URL.RawPath
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// ask sends a request to the library's routes and returns status and body.
func ask(t *testing.T, store *Store, recorder *recorder.Recorder, method, target, body string) (int, []byte) {
	t.Helper()
	reviews := NewReviews(store)
	defer reviews.Close()
	q := httptest.NewRequest(method, target, strings.NewReader(body))
	if body != "" {
		q.Header.Set("Content-Type", "application/json")
	}
	w := asked(Program(store, recorder, reviews, 0), q)
	data, err := io.ReadAll(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	return w.Code, data
}

// reviewed asks for what is looked at in a folder's recordings.
func reviewed(t *testing.T, folder, target string) *httptest.ResponseRecorder {
	t.Helper()
	store := NewStore(folder)
	reviews := NewReviews(store)
	defer reviews.Close()
	return asked(Program(store, nil, reviews, 0), httptest.NewRequest("GET", target, nil))
}
