package server

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"
)

// TestFaultEndsItsConnection: a panic in a connection's goroutine ends that connection and
// is logged with where it was.
func TestFaultEndsItsConnection(t *testing.T) {
	var said bytes.Buffer
	s := &Server{log: slog.New(slog.NewTextHandler(&said, nil))}
	ctx, end := context.WithCancel(t.Context())
	s.caught("reading a page", end, func() { panic("a page's fault") })
	if ctx.Err() == nil || !strings.Contains(said.String(), "a page's fault") || !strings.Contains(said.String(), "TestFaultEndsItsConnection") {
		t.Errorf("the connection's context says %v, the log %s", ctx.Err(), said.String())
	}
	other, cancel := context.WithCancel(t.Context())
	defer cancel()
	if s.caught("nothing", cancel, func() {}); other.Err() != nil {
		t.Error("a connection without a fault was ended")
	}
}
