package server

import (
	"context"
	"net/http/httptest"
	"testing"
	"time"
)

// TestHistoryEndsWithItsClient: nothing more is read for a client that has gone.
func TestHistoryEndsWithItsClient(t *testing.T) {
	s, _ := demoServer(t)
	for deadline := time.Now().Add(10 * time.Second); s.session.State().LastIndex < 100; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("no samples in 10 s")
		}
	}
	ask := func(ctx context.Context) int {
		r := httptest.NewRequestWithContext(ctx, "GET", "http://localhost/api/v1/history?from=0&to=100000", nil)
		r.RemoteAddr = "127.0.0.1:4711"
		w := httptest.NewRecorder()
		s.getHistory(w, r)
		return w.Body.Len()
	}
	if n := ask(t.Context()); n < 1000 {
		t.Errorf("a client that is there got %d bytes", n)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if n := ask(gone); n != 0 {
		t.Errorf("%d bytes were read for a client that has gone", n)
	}
}
