package recorder

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/acquire/recording"
)

// TestQueueFailsLoudly: what waits for a disk that takes nothing is bounded, and the
// recording ends with a sentence instead of leaving samples out.
func TestQueueFailsLoudly(t *testing.T) {
	j := &job{wake: make(chan struct{}, 1), path: "lamp.edf"}
	mega := event{counts: [][]int32{make([]int32, 1<<18)}} // 1 MiB
	for n := range 30 {
		if j.push(mega); n < 15 && j.err != nil {
			t.Fatalf("%d MiB wait: %v", n+1, j.err)
		}
	}
	if j.err == nil || !strings.Contains(j.err.Error(), "16 MB wait") || !strings.Contains(j.err.Error(), "lamp.edf") {
		t.Errorf("30 MiB wait and the recording says %v", j.err)
	}
	if len(j.queue) > 17 {
		t.Errorf("%d MiB are kept, at most 17 may be", len(j.queue))
	}
}

// TestMemoryIsBounded: a fast source is remembered less far back, not in more memory.
func TestMemoryIsBounded(t *testing.T) {
	const most = 100_000
	m := memory{seconds: 600, mostSize: most}
	m.begin(1, acquire.Info{}, 1e6, m.t0)
	block := make([]int32, memorySamples)
	for n := range int64(1000) { // a thousandth of 600 s, 4 MB
		m.add(event{first: n * memorySamples, counts: [][]int32{block}})
		if m.size > most || len(m.events)-m.head > most/(4*memorySamples) {
			t.Fatalf("after %d blocks %d bytes in %d events are kept, at most %d may be", n+1, m.size, len(m.events)-m.head, most)
		}
	}
	if kept := m.newest - m.oldest(); kept < 20*memorySamples {
		t.Errorf("only %d samples are kept", kept)
	}
}

// TestFaultInTheWriting: a panic in a recording's goroutine ends the recording with a
// sentence; the file can be read up to there.
func TestFaultInTheWriting(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fault.edf")
	w, err := recording.Create(path, recording.Header{Info: acquire.Info{ClaimedRateHz: 250, Channels: []acquire.Channel{{Label: "pulse", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 5.0 / 4096, MaxCount: 4095}}}, RateHz: 250})
	if err != nil {
		t.Fatal(err)
	}
	told := ""
	j := &job{rateHz: 250, path: path, w: w, wake: make(chan struct{}, 1), ended: make(chan struct{}), problem: func(text string) { told = text }} // without views: a fault
	j.push(event{counts: [][]int32{{1, 2, 3, 4}}})
	j.finish()
	j.run()
	var fault *guard.Fault
	if !errors.As(j.err, &fault) || !strings.Contains(told, "The recording stopped") || !strings.Contains(told, "a fault of the program") {
		t.Errorf("the job ended with %v and told %q", j.err, told)
	}
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.Len() != 4 {
		t.Errorf("%d samples in the file, want 4", f.Len())
	}
}
