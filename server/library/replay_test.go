package library

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/playback"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/hub"
	"pulsewright/server/library/recorder"
	"pulsewright/server/session"
)

// TestReplayTellsItsGaps: the gaps of a recording, long and short, are told where it is replayed, with their reasons, and a recording
// of the replay has them as the first one has.
func TestReplayTellsItsGaps(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "gaps.edf")
	w, err := recording.Create(path, recording.Header{Info: acquire.Info{Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindPulse, MaxCount: 1023}}}, RateHz: 250})
	if err != nil {
		t.Fatal(err)
	}
	for _, err := range []error{w.Write([][]int32{make([]int32, 1000)}, 0), w.Gap(1000, 1100, "unplugged"), w.Write([][]int32{make([]int32, 600)}, 2100),
		w.Write([][]int32{make([]int32, 400)}, 2715), w.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	gapsOf := func(path string) (list []string) {
		f, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for _, g := range f.GapRuns() {
			list = append(list, fmt.Sprintf("%d+%d %s", g.From, g.To-g.From, g.Reason))
		}
		return list
	}
	if got := gapsOf(path); !slices.Equal(got, []string{"1000+1100 unplugged", "2700+15 "}) {
		t.Fatalf("the first recording has %q", got)
	}
	records := recorder.New(recorder.Config{Folder: folder})
	s := session.New(session.Config{Hub: hub.New(1000), Taps: []session.Tap{records}, Openers: acquire.Openers{"file": func(_ context.Context, a acquire.Address) (acquire.Source, error) {
		file, err := recording.Open(a.Path)
		if err != nil {
			return nil, err
		}
		return playback.New(ForReplay(file, a.Path), playback.Config{Address: a.String(), Paused: true})
	}}})
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	defer func() { cancel(); <-done }()
	if err := s.Open(ctx, "file:"+path); err != nil {
		t.Fatal(err)
	}
	state, err := records.Start("again", 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	seen := s.Watch()
	speed := 4.0
	if err := s.SetPlayback(ctx, session.PlaybackChange{Speed: &speed}); err != nil {
		t.Fatal(err)
	}
	silent := false // a reading within the gap, before it is told
	for !strings.Contains(s.State().StatusText, "has ended") {
		if _, _, err := seen.Next(ctx); err != nil {
			t.Fatal(err)
		}
		if r, _ := s.Reading(0); len(s.State().Gaps) == 0 && r.State == beat.StateNoSignal {
			silent = true
		}
	}
	if !silent {
		t.Error("no reading told, while the gap lasted, that there is no signal")
	}
	told := s.State().Gaps
	if want := []session.Gap{{Index: 1000, Samples: 1100, Reason: "unplugged"}, {Index: 2700, Samples: 15, Reason: "a gap of the recording"}}; !slices.Equal(told, want) {
		t.Errorf("told %v, want %v", told, want)
	}
	if err := records.Close(); err != nil {
		t.Fatal(err)
	}
	if got := gapsOf(filepath.Join(folder, state.ID)); !slices.Equal(got, []string{"1000+1100 unplugged", "2700+15 a gap of the recording"}) {
		t.Errorf("the recording of the replay has %q", got)
	}
}
