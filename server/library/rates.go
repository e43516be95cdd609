package library

import (
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"os"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

// ratesName is the file of median rates that were worked out, by recording.
const ratesName = ".rates.json"

// keptRate is a median rate of a recording without stored beats, worked out once.
type keptRate struct {
	Key string  `json:"key"` // of what it was worked out from
	BPM float64 `json:"bpm"` // 0: none could be
}

// rateKey tells a recording, and what was said of it and edited in it, from any other.
func (s *Store) rateKey(id string) (string, error) {
	path, err := s.Path(id)
	if err != nil {
		return "", err
	}
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	about, err := json.Marshal([]any{Said(path), s.edits.All()[id]})
	if err != nil {
		return "", err
	}
	h := fnv.New64a()
	h.Write(about)
	return fmt.Sprintf("%d %d %x", info.Size(), info.ModTime().UnixNano(), h.Sum64()), nil
}

// ShowRates puts median rates that were worked out into entries without stored beats, and
// returns the ids of those that are still to be worked out.
func (s *Store) ShowRates(list []Entry) (open []string) {
	rates := s.rates.All()
	for i := range list {
		e := &list[i]
		if e.MedianBPM > 0 || e.Problem != "" || !slices.ContainsFunc(e.Kinds, hasBeats) {
			continue
		}
		key, err := s.rateKey(e.ID)
		if kept, ok := rates[e.ID]; err == nil && ok && kept.Key == key {
			e.MedianBPM = kept.BPM
		} else if err == nil {
			open = append(open, e.ID)
		}
	}
	return open
}

func hasBeats(kind string) bool { return kind == acquire.KindECG || kind == acquire.KindPulse }

// WithRates puts the median rates that were worked out into a list, has those missing worked out
// one after the other, busy ones left alone, and returns how many they are.
func (rs *Reviews) WithRates(list []Entry, busy func(id string) bool) int {
	open := slices.DeleteFunc(rs.store.ShowRates(list), busy)
	if len(open) > 0 {
		rs.rating.start(func(ctx context.Context) {
			for _, id := range open {
				if ctx.Err() == nil {
					_ = guard.Call("the rate of "+id, func() error { return rs.rate(ctx, id) })
				}
			}
		})
	}
	return len(open)
}

// rate works out the median rate of the first channel that has beats; what cannot be read has none.
func (rs *Reviews) rate(ctx context.Context, id string) error {
	key, err := rs.store.rateKey(id)
	if err != nil {
		return err
	}
	bpm, _ := rs.medianOf(ctx, id)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return rs.store.rates.Change(func(all map[string]keptRate) error {
		all[id] = keptRate{key, bpm}
		return nil
	})
}

func (rs *Reviews) medianOf(ctx context.Context, id string) (float64, error) {
	part, err := rs.Part(id, 0, 0, 1<<62)
	if err != nil {
		return 0, err
	}
	defer part.Rec.File.Close()
	part.Rec.Learn()
	part.Channel = slices.IndexFunc(part.Rec.Channels, func(c channel.Resolved) bool { return hasBeats(c.Kind) && c.From.Kind != channel.PlaceUsual })
	if part.Channel < 0 {
		return 0, nil
	}
	part.Whole = true
	var at []float64
	if err := analysis.Beats(ctx, part, func(b beat.Beat) { at = append(at, float64(b.Sample)/part.Rec.Info.ClaimedRateHz) }); err != nil {
		return 0, err
	}
	return analysis.MedianBPM(at), nil
}
