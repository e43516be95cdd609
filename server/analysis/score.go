package analysis

import (
	"context"
	"fmt"
	"io"
	"math"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/beat/score"
)

// ScoreWindowSeconds is how far a found beat may lie from an annotated one, as EC57 says.
const ScoreWindowSeconds = 0.150

// toldSeconds is within which a beat is told after it was.
const toldSeconds = 10

// Score holds the found beats of a stretch against those annotated in the recording.
type Score struct {
	Channel string  `json:"channel"`
	Kind    string  `json:"kind"`
	RateHz  float64 `json:"rateHz"`
	From    int64   `json:"from"`
	To      int64   `json:"to"`
	// WindowSeconds is the most between the two beats of a pair.
	WindowSeconds float64 `json:"windowSeconds"`
	// LearningSeconds at the recording's start are left out.
	LearningSeconds float64 `json:"learningSeconds"`
	// DelaySeconds is how long after the annotated R peak a pulse comes in the middle; it is
	// subtracted first. 0 for an ECG.
	DelaySeconds float64 `json:"delaySeconds"`
	// Edited are the beats edited by hand in the stretch, which were scored as they stand now; none with the beats as found.
	Edited    Edited `json:"edited"`
	Annotated int    `json:"annotated"` // beats scored
	Found     int    `json:"found"`
	TP        int    `json:"tp"`
	FN        int    `json:"fn"`
	FP        int    `json:"fp"`
	// Se is the share of the annotated beats that was found, PPV the share of the found ones that is annotated,
	// F1 their harmonic mean, 0 to 1; RMSSeconds how far the pairs lie apart. null without any.
	Se         *float64 `json:"se"`
	PPV        *float64 `json:"ppv"`
	F1         *float64 `json:"f1"`
	RMSSeconds *float64 `json:"rmsSeconds"`
	// Missed are annotated beats that were not found, Extra found ones that are not annotated, where
	// they lie in the recording, rising.
	Missed []int64 `json:"missed"`
	Extra  []int64 `json:"extra"`
}

// Scored scores the beats that the live view's detector finds in a stretch, with the part's edits, learningSeconds at the
// recording's start left out, against the recording's annotated beats, by the rules of ANSI/AAMI EC57
// (dsp/beat/score). The detector begins at the recording's start.
func Scored(ctx context.Context, p Part, learningSeconds float64) (Score, error) {
	settings, hz := p.settings(), p.Rec.Info.ClaimedRateHz
	s := Score{Channel: settings.Label, Kind: settings.Kind, RateHz: hz, From: p.From, To: p.To, WindowSeconds: ScoreWindowSeconds, LearningSeconds: learningSeconds, Edited: p.Edits.Count(p.Channel, p.From, p.To), Missed: []int64{}, Extra: []int64{}}
	if settings.Kind == acquire.KindOther {
		return s, fmt.Errorf("channel %d (%s): it is neither a pulse nor an ECG, so it has no beats", p.Channel+1, settings.Label)
	}
	marked, flutter, _ := recording.TakeMarked(p.Rec.File.Annotations(), hz)
	if len(marked) == 0 {
		return s, fmt.Errorf("the recording has no annotated beats: score needs a record with its annotations, or an EDF+ file with beats in its annotations")
	}
	var ref score.Reference
	for _, m := range marked {
		ref.Samples = append(ref.Samples, m.Sample)
	}
	for _, f := range flutter {
		ref.Excluded = append(ref.Excluded, score.Span(f))
	}
	var found []int64
	p.From, p.To, p.Whole = 0, min(p.Rec.File.Len(), p.To+int64(toldSeconds*hz)), true
	if err := Beats(ctx, p, func(b beat.Beat) { found = append(found, b.Sample) }); err != nil {
		return s, err
	}
	delay := int64(0)
	if settings.Kind == acquire.KindPulse {
		delay = score.Delay(ref, found, int64(hz))
		for i := range found {
			found[i] -= delay
		}
	}
	// What lies outside of the stretch may make up a pair with what lies within, but does not count.
	ref.Excluded = append(ref.Excluded, score.Span{First: math.MinInt64, Last: s.From - 1}, score.Span{First: s.To, Last: math.MaxInt64})
	r, err := score.Match(ref, found, score.Config{RateHz: hz, WindowSeconds: ScoreWindowSeconds, LearningSeconds: learningSeconds})
	if err != nil {
		return s, err
	}
	s.DelaySeconds = float64(delay) / hz
	s.Annotated, s.Found, s.TP, s.FN, s.FP = r.Beats(), r.TP+r.FP, r.TP, r.FN, r.FP
	s.Se, s.PPV, s.F1, s.RMSSeconds = known(r.Se()), known(r.PPV()), known(r.F1()), known(r.RMS())
	s.Missed = append(s.Missed, r.Missed...)
	for _, e := range r.Extra {
		s.Extra = append(s.Extra, e+delay)
	}
	return s, nil
}

func known(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

// WriteScore writes every beat that is missed or extra.
func (s Score) WriteScore(w io.Writer) error {
	t := NewCSV(w, "sample", "time_s", "what")
	m, x := s.Missed, s.Extra
	for len(m)+len(x) > 0 {
		what, list := "missed", &m
		if len(m) == 0 || len(x) > 0 && x[0] < m[0] {
			what, list = "extra", &x
		}
		at := (*list)[0]
		*list = (*list)[1:]
		t.whole(at).number(float64(at)/s.RateHz, 4).text(what).end()
	}
	return t.End()
}
