package serialport

import (
	"strings"
	"testing"
)

// TestBoardTextIsBounded: a board that says much and long costs 64 lines of 200 bytes; what
// is left out is counted.
func TestBoardTextIsBounded(t *testing.T) {
	q := &queue{}
	for range 1000 {
		q.say([]byte(strings.Repeat("x", 4000)))
	}
	if len(q.text) != 64 || q.textDropped != 936 {
		t.Errorf("%d lines are kept, %d left out; want 64 and 936", len(q.text), q.textDropped)
	}
	if n := len(q.text[0]); n > 200+len("…") {
		t.Errorf("a line of %d bytes is kept, want 200 at most", n)
	}
}
