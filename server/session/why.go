package session

import (
	"cmp"
	"context"
	"errors"
	"slices"

	"pulsewright/dsp/beat"
)

// Why is what was weighed as a beat in a stretch, and what became of it.
type Why struct {
	Kind string `json:"kind"`
	// All tells that places that were passed over are listed too, not only those
	// taken for beats.
	All        bool             `json:"all"`
	Candidates []beat.Candidate `json:"candidates"`
}

// Why tells of the decisions about the samples [from, to) of a channel, as they
// were made live, in order of sample and then of decision.
func (s *Session) Why(ctx context.Context, n int, from, to int64) (w Why, err error) {
	w.Candidates = []beat.Candidate{}
	doErr := s.do(ctx, func() {
		if err = channelExists(n, len(s.channels)); err != nil {
			return
		}
		e := s.channels[n].engine
		w.Kind, w.All = e.Settings().Kind, e.Watched()
		for _, q := range e.Why() {
			if q.Sample >= from && q.Sample < to {
				w.Candidates = append(w.Candidates, q)
			}
		}
	})
	slices.SortStableFunc(w.Candidates, func(a, b beat.Candidate) int { return cmp.Compare(a.Sample, b.Sample) })
	return w, errors.Join(doErr, err)
}
