package library

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/variability"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
	"pulsewright/server/library/recorder"
	"pulsewright/server/session"
)

// slowed are the counts of an invented chest at so many samples a second and, from a
// time on, at another, in lumps of 20 ms.
func slowed(t *testing.T, before, after, change, seconds float64) (list []any, heartBPM float64) {
	t.Helper()
	config := simulate.Chest()
	config.RateHz = 1000
	g, err := simulate.New(config)
	if err != nil {
		t.Fatal(err)
	}
	fine := [][]int32{make([]int32, int(seconds*1000)+1)}
	for len(fine) < len(config.Channels) {
		fine = append(fine, make([]int32, len(fine[0])))
	}
	g.Next(fine)
	begin, n := time.Date(2026, 3, 1, 19, 0, 0, 0, time.UTC), int64(0)
	var row []int32
	due := 0.02
	for at := 0.0; at < seconds; {
		if at >= due {
			list = append(list, acquire.Block{First: n, Counts: [][]int32{row}, Arrived: begin.Add(time.Duration(due * 1e9))})
			n, row, due = n+int64(len(row)), nil, due+0.02
		}
		row = append(row, fine[0][int(at*1000)])
		if at < change {
			at += 1 / before
		} else {
			at += 1 / after
		}
	}
	return list, config.BPM
}

// TestRateThatChanges: a board without a clock that goes from 250 to 180 samples a second. Its
// recording becomes two, in which no rate and no interval is wrong, nor in copies as text; the
// samples of both are those that came.
func TestRateThatChanges(t *testing.T) {
	source := &bench{time: time.Date(2026, 3, 1, 19, 0, 0, 0, time.UTC), info: acquire.Info{Address: "test:board", Name: "board", Channels: []acquire.Channel{{Label: "lead", Kind: acquire.KindECG}}}}
	blocks, bpm := slowed(t, 250, 180, 25, 60)
	folder := t.TempDir()
	records := recorder.New(recorder.Config{Folder: folder})
	s := session.New(session.Config{Openers: acquire.Openers{"test": func(context.Context, acquire.Address) (acquire.Source, error) { return source, nil }},
		Hub: hub.New(1 << 20), Taps: []session.Tap{records}, Now: source.now})
	source.steps = slices.Insert(slices.Clone(blocks), 250, any(func() {
		if _, err := records.Start("walk", 0, 10, "from the first sample on"); err != nil {
			t.Error(err)
		}
	}))
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	defer func() { cancel(); <-done }()
	l := &live{t: t, points: []map[int64][channel.Points]float32{{}}, beats: make([][]beat.Beat, 1), readings: []map[int64][]beat.Reading{{}}, meters: []map[int64][]meter.Report{{}}}
	client := s.Watch()
	defer client.Close()
	if err := s.Open(ctx, "test:board"); err != nil {
		t.Fatal(err)
	}
	l.watch(client)
	if err := records.Close(); err != nil {
		t.Fatal(err)
	}
	paths, err := filepath.Glob(filepath.Join(folder, "*.bdf"))
	if err != nil || len(paths) != 2 {
		t.Fatalf("recordings %v, %v; want two", paths, err)
	}
	var came, stored []int32
	for _, b := range blocks {
		if b, ok := b.(acquire.Block); ok {
			came = append(came, b.Counts[0]...)
		}
	}
	first := int64(0)
	for i, path := range paths { // by their times
		file, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		if hz := file.Describe().ClaimedRateHz; math.Abs(hz/[]float64{250, 180}[i]-1) > 0.002 {
			t.Errorf("%s has %v samples a second", path, hz)
		}
		row := make([]int32, file.Len())
		if _, err := file.ReadAt([][]int32{row}, 0); err != nil {
			t.Fatal(err)
		}
		stored = append(stored, row...)
		rec := channel.Open(file, channel.Sidecar{})
		rightRates(t, rec, bpm, func(at int64, r beat.Reading) {
			if told := l.readings[0][first+at]; i == 0 && len(told) > 0 && at > 5*250 && !slices.ContainsFunc(told, func(w beat.Reading) bool { return w.State == r.State }) {
				t.Errorf("%s: %v at sample %d, live %v", path, r, at, told)
			}
		})
		rightRates(t, asText(t, file), bpm, func(int64, beat.Reading) {})
		first += file.Len()
	}
	if !slices.Equal(came, stored) {
		t.Errorf("%d samples came, %d are stored, or other ones", len(came), len(stored))
	}
}

// rightRates compares what is computed of a recording with the heart's rate.
func rightRates(t *testing.T, rec *channel.Recording, bpm float64, each func(at int64, r beat.Reading)) {
	t.Helper()
	shown, hz := 0, rec.Info.ClaimedRateHz
	part := analysis.All(rec, 0)
	if err := analysis.Readings(context.Background(), part, func(second int64, r beat.Reading) {
		each(int64(math.Round(float64(second)*hz)), r)
		if r.State != beat.StateReading {
			return
		}
		if shown++; math.Abs(r.RateBPM/bpm-1) > 0.05 {
			t.Errorf("%s: %.1f bpm after %d s, the heart has %.1f", rec.Info.Name, r.RateBPM, second, bpm)
		}
	}); err != nil || shown < 10 {
		t.Errorf("%s: %d rates, %v", rec.Info.Name, shown, err)
	}
	got, err := analysis.Variability(context.Background(), part)
	if err != nil || len(got.Intervals) < 20 {
		t.Fatalf("%s: %d intervals, %v", rec.Info.Name, len(got.Intervals), err)
	}
	for _, iv := range got.Intervals {
		if iv.Mark == variability.Normal && math.Abs(iv.Seconds*bpm/60-1) > 0.15 {
			t.Errorf("%s: an interval of %.3f s at %.1f s, the heart has %.1f bpm", rec.Info.Name, iv.Seconds, iv.AtSeconds, bpm)
		}
	}
}

// asText is a recording's copy as CSV.
func asText(t *testing.T, file *recording.File) *channel.Recording {
	t.Helper()
	path := filepath.Join(t.TempDir(), "copy.csv")
	out, err := os.Create(path)
	if err == nil {
		err = recording.ExportCSV(out, file, recording.ExportOptions{})
	}
	if err == nil {
		err = out.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	text, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { text.Close() })
	kind := acquire.KindECG
	said := channel.Sidecar{}
	said.Set(0, channel.Said{Kind: &kind})
	return channel.Open(text, said)
}
