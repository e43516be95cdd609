package beat

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat/score"
)

// pulsePeer are the numbers of two moving averages that find systolic peaks.
type pulsePeer struct {
	lowHz, highHz float64 // Butterworth, run there and back
	lowOrder      int
	squared       bool
	short, long   float64 // seconds
	offset        float64 // share of the mean
}

// Those of Elgendi et al. 2013 (PLoS ONE 8(10) e76585), from memory, and others that do
// better on most of what is here.
var (
	textbookPeer = pulsePeer{lowHz: 0.5, highHz: 8, lowOrder: 2, squared: true, short: 0.111, long: 0.667, offset: 0.02}
	quickPeer    = pulsePeer{lowHz: 3, highHz: 8, lowOrder: 1, short: 0.12, long: 0.504, offset: 0.05}
)

// find gives the systolic peaks of x, whose pulses go up: where the mean of the upper half
// of the band-passed signal over about a wave is above that over about a beat, for as long as
// a wave. It is the tests' peer: a second, obvious implementation, offline, knowing the
// whole record.
func (p pulsePeer) find(t testing.TB, x []float64, rateHz float64) (beats []Beat) {
	t.Helper()
	lifted := slices.Clone(x)
	for i := range lifted {
		lifted[i] -= x[0]
	}
	y := thereAndBack(t, lifted, rateHz, [2]float64{p.lowHz, p.highHz}, [2]int{p.lowOrder, 2})
	upper := make([]float64, len(y))
	for i, v := range y {
		upper[i] = max(v, 0)
		if p.squared {
			upper[i] *= upper[i]
		}
	}
	whereAbove(upper, rateHz, [2]float64{p.short, p.long}, p.offset, func(from, to int) {
		best := from
		for k := from; k < to; k++ {
			if y[k] > y[best] {
				best = k
			}
		}
		beats = append(beats, Beat{Kind: Pulse, Sample: int64(best)})
	})
	return beats
}

// pulseCase is a signal whose pulses go up, of a set, with a count of what is missed and
// what is found that is none.
type pulseCase struct {
	set    string
	rateHz float64
	x      []float64
	count  func(beats []Beat) score.Result
}

func (f finger) asCase(set string) pulseCase {
	return pulseCase{set, f.rate, f.x, func(beats []Beat) (r score.Result) {
		beats = slices.DeleteFunc(slices.Clone(beats), func(b Beat) bool { return f.moving(b.Sample, 0.5) })
		missed, extra, _ := f.errors(beats, 12)
		r.FN, r.FP, r.TP = missed, extra, len(f.peak)-missed
		return r
	}}
}

func (r record) asCase(t testing.TB, set string) pulseCase {
	return pulseCase{set, r.rateHz, r.x, func(beats []Beat) score.Result {
		s, _ := scorePulse(t, r, beats)
		return s
	}}
}

// pulseCases are what both are fed.
func pulseCases(t testing.TB) (list []pulseCase) {
	for _, name := range present(t, pulseRecords) {
		list = append(list, readRecord(t, name).asCase(t, "records"))
	}
	for _, name := range present(t, unfitRecords) {
		list = append(list, readRecord(t, name).asCase(t, "records unfit for scoring"))
	}
	for _, s := range wristSignals(t) {
		if s.kind == Pulse {
			list = append(list, s.record.asCase(t, s.group))
		}
	}
	for _, e := range edgesAtHome() {
		set, _, _ := strings.Cut(strings.Split(e.name, ",")[0], " at ")
		if strings.HasSuffix(set, "counts high") {
			set = "counts"
		}
		list = append(list, e.asCase(set))
	}
	for _, a := range alternating() {
		list = append(list, a.asCase(fmt.Sprintf("every second pulse of %g", a.weak)))
	}
	for _, share := range []float64{0, 0.2, 0.35, 0.5} {
		for _, bpm := range []float64{40, 60, 80, 100} {
			f := fingerAt(200, steady(bpm, 0.6, 60), 60, min(0.33, 0.45*60/bpm), same(1, share))
			noise(f.x, 0.005, 3)
			list = append(list, f.asCase("second wave"))
		}
	}
	for _, m := range movedFingers(t) {
		list = append(list, m.beside(0.5).asCase("moved four times a minute"))
	}
	return list
}

// moving tells that a sample is within so many seconds of a movement.
func (f finger) moving(at int64, within float64) bool {
	reach := int64(within * f.rate)
	return slices.ContainsFunc(f.moved, func(s simulate.Span) bool { return at >= s.From-reach && at < s.To+reach })
}

// beside leaves out the pulses near movements.
func (f finger) beside(within float64) finger {
	f.peak = slices.DeleteFunc(slices.Clone(f.peak), func(at int64) bool { return f.moving(at, within) })
	return f
}

// pulseMargins are by how much, points of F1, ours may be worse than the better of the two
// peers; else peerMargin.
var pulseMargins = map[string]float64{"wrist light": 2, "records unfit for scoring": 1}

const peerMargin = 0.5

// TestPulseBesidePeer: the textbook's way, which knows the whole record and does not tell in
// time, is fed what ours is fed. Where it is better by more than the margin, that is a fault
// of ours.
func TestPulseBesidePeer(t *testing.T) {
	t.Parallel()
	list := pulseCases(t)
	finders := []func(c pulseCase) []Beat{
		func(c pulseCase) []Beat {
			d, err := NewPulse(c.rateHz)
			if err != nil {
				t.Error(err)
				return nil
			}
			return atEnd(d, d.Process(nil, c.x), record{x: c.x})
		},
		func(c pulseCase) []Beat { return textbookPeer.find(t, c.x, c.rateHz) },
		func(c pulseCase) []Beat { return quickPeer.find(t, c.x, c.rateHz) },
	}
	results := make([][]score.Result, len(list))
	twoAtATime(len(list), func(i int) {
		for _, find := range finders {
			results[i] = append(results[i], list[i].count(find(list[i])))
		}
	})
	sets, order := map[string][]score.Result{}, []string(nil)
	for i, c := range list {
		if sets[c.set] == nil {
			sets[c.set] = make([]score.Result, len(finders))
			order = append(order, c.set)
		}
		for k, r := range results[i] {
			s := &sets[c.set][k]
			s.TP, s.FN, s.FP = s.TP+r.TP, s.FN+r.FN, s.FP+r.FP
		}
	}
	for _, name := range order {
		said, f := "", [3]float64{}
		for k, r := range sets[name] {
			f[k] = f1(r)
			said += fmt.Sprintf("  FN %4d FP %4d F1 %6.2f", r.FN, r.FP, f[k])
		}
		t.Logf("%-28s %5d beats, ours, textbook, quick: %s", name, sets[name][0].Beats(), said)
		margin, ok := pulseMargins[name]
		if !ok {
			margin = peerMargin
		}
		if best := max(f[1], f[2]); !(f[0] >= best-margin) {
			t.Errorf("%s: F1 %.2f %%, two moving averages have %.2f %%; ours may be worse by %g points", name, f[0], best, margin)
		}
	}
}
