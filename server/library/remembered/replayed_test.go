package remembered

import (
	"context"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/playback"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
	"pulsewright/server/library"
	"pulsewright/server/session"
)

// TestSaidDuringAReplayStaysWithTheRecording: kind, volts and polarity said while a recording of the
// folder is replayed are its own, as by PATCH, also when it was renamed meanwhile, and hold
// when it is replayed again; those of a file elsewhere are remembered by its address.
func TestSaidDuringAReplayStaysWithTheRecording(t *testing.T) {
	folder, other := t.TempDir(), t.TempDir()
	for _, f := range []string{folder, other} {
		w, err := recording.Create(filepath.Join(f, "plain.edf"), recording.Header{Info: acquire.Info{Channels: []acquire.Channel{{Label: "a", MaxCount: 1023}}}, RateHz: 250})
		if err == nil {
			err = w.Write([][]int32{make([]int32, 2500)}, 0)
		}
		if err == nil {
			err = w.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	store, settings := library.NewStore(folder), NewSettings(folder, slog.New(slog.DiscardHandler))
	s := session.New(session.Config{Hub: hub.New(1000), Remember: settings, Say: store.SayOf, Openers: acquire.Openers{"file": func(_ context.Context, a acquire.Address) (acquire.Source, error) {
		file, err := recording.Open(a.Path)
		if err != nil {
			return nil, err
		}
		return playback.New(library.ForReplay(file, a.Path), playback.Config{Address: a.String(), Hold: true})
	}}})
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	defer func() { cancel(); <-done }()
	open := func(path string) session.ChannelState {
		t.Helper()
		if err := s.Open(ctx, "file:"+path); err != nil {
			t.Fatal(err)
		}
		return s.State().Channels[0]
	}
	set := func(gain float64) error {
		return s.SetScale(ctx, 0, channel.Scale{Source: channel.ScaleConverter, ReferenceVolts: 5, Bits: 10, Gain: gain, Invert: true})
	}
	said := func(id string) channel.Said { return library.Said(filepath.Join(folder, id)).Of(0) }

	open(filepath.Join(folder, "plain.edf"))
	if err := s.SetKind(ctx, 0, acquire.KindECG); err != nil {
		t.Fatal(err)
	}
	if err := set(50); err != nil {
		t.Fatal(err)
	}
	if got := said("plain.edf"); got.Kind == nil || *got.Kind != "ecg" || got.Scale == nil || got.Scale.Gain != 50 || !got.Scale.Invert || got.Label != nil {
		t.Fatalf("said of the recording is %+v", got)
	}
	id, err := store.Rename("plain.edf", "moved")
	if err != nil {
		t.Fatal(err)
	}
	if err := set(77); err != nil {
		t.Fatal(err)
	}
	if got := said(id); got.Scale == nil || got.Scale.Gain != 77 || *got.Kind != "ecg" {
		t.Errorf("said of the renamed recording is %+v", got)
	}
	open(filepath.Join(other, "plain.edf"))
	if err := set(5); err != nil {
		t.Fatal(err)
	}
	if got := open(filepath.Join(folder, id)); got.Kind != "ecg" || got.Scale.Gain != 77 || !got.Scale.Invert {
		t.Errorf("replayed again it is %+v", got)
	}
	if got := open(filepath.Join(other, "plain.edf")); got.Scale.Gain != 5 {
		t.Errorf("the file elsewhere is replayed as %+v", got)
	}
	open(filepath.Join(folder, id))
	if err := store.Trash(id); err != nil {
		t.Fatal(err)
	}
	if err := set(9); err == nil || !strings.Contains(err.Error(), "channel 1 (a) is set") {
		t.Errorf("said of a recording in the trash: %v", err)
	}
	settings.Close()
}
