package server

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"
)

// TestOpenAPIHasEveryRoute: the page describes the routes that there are, no more and no less.
func TestOpenAPIHasEveryRoute(t *testing.T) {
	s, _ := demoServer(t)
	there := map[string]bool{}
	if err := chi.Walk(s.Handler().(chi.Routes), func(method, route string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if path, ok := strings.CutPrefix(route, "/api/v1"); ok {
			there[strings.ToLower(method)+" "+path] = true
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	told := map[string]bool{}
	for _, e := range endpoints {
		key := e.method + " " + e.path
		if told[key] {
			t.Errorf("%s is told twice", key)
		}
		if told[key] = true; !there[key] {
			t.Errorf("%s is told and not there", key)
		}
	}
	for key := range there {
		if !told[key] {
			t.Errorf("%s is there and not told", key)
		}
	}
}

// TestOpenAPIIsTrue: what the running program answers is what the page says of it.
func TestOpenAPIIsTrue(t *testing.T) {
	s, h := demoServer(t)
	for end := time.Now().Add(20 * time.Second); s.session.State().LastIndex < 1200; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("no samples")
		}
	}
	code, page := request(t, h, "GET", "/api/v1/openapi.json", "", nil)
	var read struct {
		OpenAPI string `json:"openapi"`
		Paths   map[string]map[string]struct{ Responses map[string]any }
	}
	if err := json.Unmarshal([]byte(page), &read); err != nil || code != http.StatusOK || read.OpenAPI != "3.1.0" || len(read.Paths) < 40 {
		t.Fatalf("%d, %s with %d paths: %v", code, read.OpenAPI, len(read.Paths), err)
	}
	checked := 0
	for _, e := range endpoints {
		if _, media := e.answer.(string); media || e.answer == nil || e.method != "get" || strings.Contains(e.path, "{id}") || strings.Contains(e.path, "recording") || e.path == "/openapi.json" {
			continue
		}
		code, body := request(t, h, "GET", "/api/v1"+strings.ReplaceAll(e.path, "{n}", "0"), "", nil)
		if e.path == "/channels/{n}/variability" && code == http.StatusNotFound || strings.HasSuffix(e.path, "/seen") && code == http.StatusConflict {
			continue // this program follows neither
		}
		if code != http.StatusOK {
			t.Errorf("%s: %d %s", e.path, code, body)
			continue
		}
		schema, err := schemaOf(e.answer)
		if err != nil {
			t.Fatalf("%s: %v", e.path, err)
		}
		resolved, err := schema.Resolve(nil)
		if err != nil {
			t.Fatalf("%s: %v", e.path, err)
		}
		var value any
		if err := json.Unmarshal([]byte(body), &value); err != nil {
			t.Fatal(err)
		}
		if err := resolved.Validate(value); err != nil {
			t.Errorf("%s answers something else than the page says: %v", e.path, err)
		}
		checked++
	}
	if checked < 12 {
		t.Errorf("only %d answers were checked", checked)
	}
}
