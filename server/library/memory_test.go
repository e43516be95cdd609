package library

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
)

// TestMedianRateLeavesHolesOut: of intervals of one second and of longer holes, and of
// beats twice in the same tenth of a second, the median is 60 a minute.
func TestMedianRateLeavesHolesOut(t *testing.T) {
	var notes []recording.Annotation
	for _, at := range []float64{0, 1, 2, 2.1, 7, 12, 17, 17.1, 22, 27} {
		notes = append(notes, recording.Annotation{OnsetSeconds: at, Text: recording.BeatText("pulse", 1, -1)})
	}
	if got := medianBPM(notes, 250); got != 60 {
		t.Errorf("%g a minute", got)
	}
	if got := medianBPM(notes[:1], 250); got != 0 {
		t.Errorf("%g a minute of one beat", got)
	}
}

// TestGrowingRecordingIsOpenedAnewNowAndThen, not at each look.
func TestGrowingRecordingIsOpenedAnewNowAndThen(t *testing.T) {
	store := NewStore(t.TempDir())
	path := filepath.Join(store.Folder(), "walk.csv")
	grow := func(text string) {
		t.Helper()
		f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
		if err == nil {
			_, err = f.WriteString(text)
			f.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	reviews := NewReviews(store)
	defer reviews.Close()
	look := func() *review {
		t.Helper()
		r, err := reviews.get("walk.csv")
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	grow("# rate 250 Hz\npulse\n1\n2\n3\n")
	first := look()
	<-first.ended
	grow("4\n5\n")
	if look() != first {
		t.Error("a recording that grew just now is read anew at once")
	}
	reviews.mu.Lock()
	first.opened = first.opened.Add(-time.Hour)
	reviews.mu.Unlock()
	second := look()
	if second == first || second.file.Len() != 5 {
		t.Error("an hour later it is still looked at as it was")
	}
}

// TestFilteredAnewAfterMissing: a level that is another after missing samples makes no
// step in a high-pass, which begins anew there.
func TestFilteredAnewAfterMissing(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,pulse [V]\n")
	for i := range 600 {
		switch {
		case i < 300:
			fmt.Fprintf(&b, "%.3f,2.5\n", float64(i)/250)
		case i < 326: // 104 ms: more than what is bridged
			fmt.Fprintf(&b, "%.3f,\n", float64(i)/250)
		default:
			fmt.Fprintf(&b, "%.3f,1.0\n", float64(i)/250)
		}
	}
	path := filepath.Join(t.TempDir(), "levels.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	settings := signalpath.Settings{Drift: signalpath.Drift{On: true, CutoffHz: 0.5}}
	n := 0
	list := []*shown{{&settings, channel.PointSmooth}}
	err = through{channel.Open(f, channel.Sidecar{}), list, 0, f.Len()}.run(context.Background(), func(_ int, at int64, values []float64) {
		for i, v := range values {
			if v > 1e-9 || v < -1e-9 {
				t.Fatalf("sample %d is %g V", at+int64(i), v)
			}
			if v == v {
				n++
			}
		}
	})
	if err != nil || n != 574 {
		t.Errorf("%d values, %v; want 574", n, err)
	}
}
