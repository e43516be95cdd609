package library

import (
	"context"
	"fmt"
	"math"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
)

// Mark is a beat of a recording.
type Mark struct {
	Sample  int64   `json:"sample"`
	Kind    string  `json:"kind"`
	Quality float64 `json:"quality"`
	// ByHand says that it was added or moved by hand.
	ByHand bool `json:"byHand,omitempty"`
}

// BeatQuery is which beats are asked for: those stored in the recording or, with a channel in
// Find, of 0 or more, those that the live view's detector finds there, of the samples in [From, To).
type BeatQuery struct {
	Find     int
	From, To int64
	// Found leaves out what was edited by hand.
	Found bool
	// Progress, unless nil, is told now and then which share of the finding is done.
	Progress func(share float64)
}

// Beats are a recording's beats by channel.
func (rs *Reviews) Beats(ctx context.Context, id string, q BeatQuery) ([][]Mark, error) {
	review, err := rs.get(id)
	if err != nil {
		return nil, err
	}
	if channels := len(review.info.Channels); q.Find >= channels {
		return nil, &AskError{text: fmt.Sprintf("find=%d: the recording has %d channels, counted from 0", q.Find, channels)}
	}
	return review.beats(ctx, q)
}

// Annotated are the beats that somebody annotated in a recording, rising.
func (rs *Reviews) Annotated(id string) ([]recording.Marked, error) {
	review, err := rs.get(id)
	if err != nil {
		return nil, err
	}
	notes, _, err := review.annotations()
	beats, _, _ := recording.TakeMarked(notes, review.info.ClaimedRateHz)
	return append([]recording.Marked{}, beats...), err
}

func (r *review) beats(ctx context.Context, q BeatQuery) ([][]Mark, error) {
	find, from, to := q.Find, q.From, q.To
	var edits analysis.Edits
	if !q.Found {
		var err error
		if edits, err = r.edits(); err != nil {
			return nil, err
		}
	}
	out := make([][]Mark, len(r.info.Channels))
	for c := range out {
		out[c] = []Mark{}
	}
	if find >= 0 {
		rec, err := r.another()
		if err != nil {
			return nil, err
		}
		defer rec.File.Close()
		// All of it up to there, so that the beats are the same whatever is asked for.
		part := analysis.All(rec, find)
		part.To, part.Progress, part.Edits = min(to, part.To), q.Progress, edits
		by := byHand(edits[find], rec.Start.Ratio)
		return out, analysis.Beats(ctx, part, func(b beat.Beat) {
			if b.Sample >= from {
				out[find] = append(out[find], Mark{b.Sample, string(b.Kind), math.Round(b.Quality*100) / 100, by[b.Sample]})
			}
		})
	}
	notes, _, err := r.annotations()
	if err != nil {
		return nil, err
	}
	for _, n := range notes {
		if n.Sample < from || n.Sample >= to {
			continue
		}
		kind, quality, channel, ok := recording.ParseBeat(n.Text)
		channel = max(channel, 0) // none is named in a recording of one channel
		if ok && channel < len(out) {
			out[channel] = append(out[channel], Mark{n.Sample, kind, quality, false})
		}
	}
	for c := range out {
		out[c] = r.edited(c, out[c], edits[c], q)
	}
	return out, nil
}

// edited puts edits into a channel's stored beats, if it has any.
func (r *review) edited(c int, list []Mark, edits []recording.Edit, q BeatQuery) []Mark {
	if len(edits) == 0 || len(list) == 0 { // edits alone are not the beats
		return list
	}
	kind := r.rec.Channels[c].Kind
	hand := analysis.NewHand(edits, beat.Kind(kind), r.info.ClaimedRateHz, 1)
	by, out := byHand(edits, 1), []Mark{}
	tell := func(b beat.Beat) {
		if b.Sample >= q.From && b.Sample < q.To {
			out = append(out, Mark{b.Sample, string(b.Kind), b.Quality, by[b.Sample]})
		}
	}
	for _, m := range list {
		hand.Beat(beat.Beat{Sample: m.Sample, Kind: beat.Kind(m.Kind), Quality: m.Quality}, tell)
	}
	hand.Until(math.MaxInt64, tell)
	return out
}

// byHand are the samples of the beats added or moved by hand, as they are told.
func byHand(edits []recording.Edit, ratio int) map[int64]bool {
	at := map[int64]bool{}
	for _, e := range edits {
		if e.At != nil {
			at[*e.At/int64(ratio)*int64(ratio)] = true
		}
	}
	return at
}
