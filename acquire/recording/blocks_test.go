package recording

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestBlocks: any stretch comes in order and whole, whatever its ends; what take and ctx
// say ends it.
func TestBlocks(t *testing.T) {
	const n = 2*BlockSamples + 5
	var b strings.Builder
	b.WriteString("# rate 250 Hz\npulse\n")
	for i := range n {
		fmt.Fprintln(&b, i)
	}
	path := filepath.Join(t.TempDir(), "count.csv")
	must(t, os.WriteFile(path, []byte(b.String()), 0o600))
	f, err := Open(path)
	must(t, err)
	defer f.Close()
	for _, s := range [][2]int64{{0, n}, {0, n + 100}, {1, BlockSamples}, {BlockSamples, BlockSamples + 1}, {7, BlockSamples + 7}, {5, 2 * BlockSamples}, {n - 1, n}, {n, n}, {n + 1, n + 9}} {
		next := s[0]
		err := f.Blocks(context.Background(), s[0], s[1], func(at int64, counts [][]int32) error {
			if at != next || len(counts[0]) == 0 || len(counts[0]) > BlockSamples {
				t.Fatalf("%v: %d samples at %d, want some at %d", s, len(counts[0]), at, next)
			}
			for i, v := range counts[0] {
				if int64(v) != at+int64(i) {
					t.Fatalf("%v: sample %d is %d", s, at+int64(i), v)
				}
			}
			next += int64(len(counts[0]))
			return nil
		})
		if want := max(s[0], min(s[1], n)); err != nil || next != want {
			t.Errorf("%v: read up to %d, %v; want %d", s, next, err, want)
		}
	}
	stop := errors.New("enough")
	calls := 0
	if err := f.Blocks(context.Background(), 0, n, func(int64, [][]int32) error { calls++; return stop }); err != stop || calls != 1 {
		t.Errorf("after %d calls %v, want what take said after one", calls, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	calls = 0
	if err := f.Blocks(ctx, 0, n, func(int64, [][]int32) error { calls++; cancel(); return nil }); !errors.Is(err, context.Canceled) || calls != 1 {
		t.Errorf("after %d calls %v, want canceled after one", calls, err)
	}
}
