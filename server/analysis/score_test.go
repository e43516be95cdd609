package analysis_test

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

// annotated is a minute of a simulated chest and finger with its true R peaks annotated in it, but
// for the beat drop, and with one more at the sample add; true is every R peak.
func annotated(t *testing.T, drop int, add int64) (rec *channel.Recording, truth []int64) {
	t.Helper()
	c := simulate.Both()
	c.MotionPerMinute = 0
	folder := t.TempDir()
	_, g := simulatetest.Record(t, c, int64(60*c.RateHz), filepath.Join(folder, "plain.bdf"))
	plain, err := recording.Open(filepath.Join(folder, "plain.bdf"))
	if err != nil {
		t.Fatal(err)
	}
	defer plain.Close()
	var notes []recording.Annotation
	for i, b := range g.Truth().Beats[0] {
		at := int64(math.Round(b.RSeconds * c.RateHz))
		if at >= plain.Len() {
			break
		}
		truth = append(truth, at)
		if i != drop {
			notes = append(notes, recording.Annotation{Sample: at, Text: recording.AnnotatedText("N")})
		}
	}
	notes = append(notes, recording.Annotation{Sample: add, Text: recording.AnnotatedText("V")})
	path := filepath.Join(folder, "annotated.bdf")
	if err := recording.ExportEDF(path, plain, recording.ExportOptions{Notes: notes}); err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return channel.Open(f, channel.Sidecar{}), truth
}

// TestScoredNamesMissedAndExtra: with the truth annotated but for one beat, and one annotated where none is, the first is
// extra and the second missed, in the whole and in a stretch; a finger's pulses are as late as they are.
func TestScoredNamesMissedAndExtra(t *testing.T) {
	ctx := context.Background()
	const drop = 40
	_, truth := annotated(t, drop, 0)
	add := (truth[29] + truth[30]) / 2
	rec, _ := annotated(t, drop, add)
	ecg := slices.IndexFunc(rec.Channels, func(c channel.Resolved) bool { return c.Kind == string(beat.ECG) })
	hz := rec.Info.ClaimedRateHz
	s, err := analysis.Scored(ctx, analysis.All(rec, ecg), 5)
	if err != nil {
		t.Fatal(err)
	}
	near := func(list []int64, at int64) bool {
		return len(list) == 1 && max(list[0]-at, at-list[0]) < int64(0.15*hz)
	}
	if !slices.Equal(s.Missed, []int64{add}) || !near(s.Extra, truth[drop]) || s.FN != 1 || s.FP != 1 || s.DelaySeconds != 0 {
		t.Errorf("missed %v, want %d; extra %v, want %d", s.Missed, add, s.Extra, truth[drop])
	}
	if want := float64(s.TP) / float64(s.TP+1); *s.Se != want || *s.PPV != want || *s.F1 != want || s.TP < len(truth)-10 {
		t.Errorf("Se %g, +P %g, F1 %g of %d, want %g", *s.Se, *s.PPV, *s.F1, s.TP, want)
	}
	part := analysis.All(rec, ecg)
	part.Edits = analysis.Edits{ecg: {{At: &add}, {Was: &s.Extra[0]}}}
	if e, err := analysis.Scored(ctx, part, 5); err != nil || e.FN != 0 || e.FP != 0 || e.TP != s.TP+1 || e.Edited != (analysis.Edited{Added: 1, Removed: 1}) {
		t.Errorf("edited by hand: %+v, %v", e, err)
	}
	part.Edits = nil
	part.From, part.To = add+1, truth[drop]-int64(hz)
	if s, err = analysis.Scored(ctx, part, 0); err != nil || s.FN != 0 || s.FP != 0 || s.TP < 5 {
		t.Errorf("between the two: %+v, %v", s, err)
	}
	if s, err = analysis.Scored(ctx, analysis.All(rec, 1-ecg), 5); err != nil || !near(s.Extra, truth[drop]+int64(s.DelaySeconds*hz)) || s.DelaySeconds < 0.1 || s.DelaySeconds > 0.6 {
		t.Errorf("the finger's: %+v, %v", s, err)
	}
	var b strings.Builder
	if err := s.WriteScore(&b); err != nil || !strings.HasPrefix(b.String(), "sample,time_s,what\n") || strings.Count(b.String(), "\n") != 1+s.FN+s.FP {
		t.Errorf("written: %q, %v", b.String(), err)
	}
}
