package session

import (
	"testing"

	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat"
)

// TestWhyTellsOfEveryBeat: the last word about each sample is "taken" for the beats
// that came out and for nothing else; each has a reason.
func TestWhyTellsOfEveryBeat(t *testing.T) {
	for name, config := range map[string]simulate.Config{"finger": simulate.Finger(), "chest": simulate.Chest()} {
		t.Run(name, func(t *testing.T) {
			g, err := simulate.New(config)
			if err != nil {
				t.Fatal(err)
			}
			info := g.Channels()[0]
			c, err := newChannel(info, config.RateHz)
			if err != nil {
				t.Fatal(err)
			}
			counts := [][]int32{make([]int32, 50)}
			values := make([]float64, 50)
			const begin = 1000 // as after a gap
			found := map[int64]bool{}
			for at := int64(begin); at < begin+int64(90*config.RateHz); at += 50 {
				g.Next(counts)
				for i, n := range counts[0] {
					values[i] = info.Value(n)
				}
				c.process(at, values, 0)
				for _, b := range c.found {
					found[b.Sample] = true
				}
				c.found = c.found[:0]
				for p := range c.out {
					c.out[p] = c.out[p][:0]
				}
			}
			last := map[int64]beat.Candidate{}
			for _, q := range c.why {
				if q.Reason == "" {
					t.Errorf("sample %d: no reason", q.Sample)
				}
				last[q.Sample] = q
			}
			refused := 0
			for at, q := range last {
				if q.Taken != found[at] {
					t.Errorf("sample %d: told %v (%s), came out %v", at, q.Taken, q.Reason, found[at])
				}
				if !q.Taken {
					refused++
				}
			}
			for at := range found {
				if _, ok := last[at]; !ok {
					t.Errorf("beat at %d is not explained", at)
				}
			}
			t.Logf("%d beats, %d places refused", len(found), refused)
			if len(found) < 90 {
				t.Errorf("%d beats in 90 s, want at least 90", len(found))
			}
		})
	}
}
