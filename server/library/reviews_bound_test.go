package library

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestReviewsHeldOpenAreBounded: of many recordings that were looked at only the newest few
// are held open.
func TestReviewsHeldOpenAreBounded(t *testing.T) {
	_, store := begin(t)
	if err := os.MkdirAll(store.Folder(), 0o700); err != nil {
		t.Fatal(err)
	}
	rs := NewReviews(store)
	defer rs.Close()
	for n := range openReviews + 4 {
		id := fmt.Sprintf("%d.csv", n)
		if err := os.WriteFile(filepath.Join(store.Folder(), id), []byte("# rate 250 Hz\npulse\n1\n2\n3\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := rs.get(id); err != nil {
			t.Fatal(err)
		}
	}
	rs.mu.Lock()
	defer rs.mu.Unlock()
	if len(rs.open) != 8 || rs.open[0].id != fmt.Sprintf("%d.csv", openReviews+3) {
		t.Errorf("%d recordings are held open, want the newest 8", len(rs.open))
	}
}

// TestUploadIsBounded: an upload that does not say how large it is ends at the bound.
func TestUploadIsBounded(t *testing.T) {
	r, store := begin(t)
	for size, want := range map[int]int{60: http.StatusOK, 200: http.StatusRequestEntityTooLarge} {
		q := httptest.NewRequest("POST", "/recordings?name=a.csv", strings.NewReader("# rate 250 Hz\npulse\n"+strings.Repeat("1\n", size/2)))
		q.ContentLength = -1
		if w := asked(Program(store, r, NewReviews(store), 100), q); w.Code != want {
			t.Errorf("of %d bytes and a head: answered %d %s, want %d", size, w.Code, w.Body, want)
		}
	}
}
