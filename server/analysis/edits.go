package analysis

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/quantile"
)

// EditReachSeconds is how near a found beat lies to the place of an edit that means it: the finder may
// place it a little otherwise when it begins elsewhere. Nearer to each other two beats of a heart are not.
const EditReachSeconds = 0.1

// Edits are the beats edited by hand, by channel, counted from 0.
type Edits map[int][]recording.Edit

// Edited counts edits.
type Edited struct {
	Added   int `json:"added"`
	Moved   int `json:"moved"`
	Removed int `json:"removed"`
}

// Count counts the edits of channel n that lie in [from, to).
func (e Edits) Count(n int, from, to int64) (c Edited) {
	for _, edit := range e[n] {
		if at := edit.Place(); at < from || at >= to {
			continue
		}
		switch {
		case edit.At == nil:
			c.Removed++
		case edit.Was == nil:
			c.Added++
		default:
			c.Moved++
		}
	}
	return c
}

// Total is the number of beats edited.
func (c Edited) Total() int { return c.Added + c.Moved + c.Removed }

// String says it in words: "3 beats were edited by hand: 1 added, 2 removed".
func (c Edited) String() string {
	text, sep := fmt.Sprintf("%d beats were edited by hand", c.Total()), ": "
	if c.Total() == 1 {
		text = "1 beat was edited by hand"
	}
	for _, k := range []struct {
		n    int
		what string
	}{{c.Added, "added"}, {c.Moved, "moved"}, {c.Removed, "removed"}} {
		if k.n > 0 {
			text, sep = text+fmt.Sprintf("%s%d %s", sep, k.n, k.what), ", "
		}
	}
	return text
}

// CheckEdits tells what is wrong with the edits of one channel of so many samples.
func CheckEdits(list []recording.Edit, samples int64, rateHz float64) error {
	var at, was []int64
	for _, e := range list {
		if e.At == nil && e.Was == nil {
			return fmt.Errorf("an edit without at and was: give at for a beat added, was for one removed, both for one moved")
		}
		for _, p := range []*int64{e.At, e.Was} {
			if p != nil && (*p < 0 || *p >= samples) {
				return fmt.Errorf("sample %d: the recording has samples 0 to %d", *p, samples-1)
			}
		}
		if e.At != nil {
			at = append(at, *e.At)
		}
		if e.Was != nil {
			was = append(was, *e.Was)
		}
	}
	slices.Sort(at)
	slices.Sort(was)
	for i := 1; i < len(at); i++ {
		if float64(at[i]-at[i-1]) < EditReachSeconds*rateHz {
			return fmt.Errorf("beats at samples %d and %d: two beats cannot be nearer than %g s", at[i-1], at[i], EditReachSeconds)
		}
	}
	for i := 1; i < len(was); i++ {
		if was[i] == was[i-1] {
			return fmt.Errorf("the beat found at sample %d is edited twice", was[i])
		}
	}
	return nil
}

// Hand puts the edits of one channel into its stream of found beats. The zero value changes nothing.
// All places are in points of rateHz. Not safe for concurrent use.
type Hand struct {
	kind   beat.Kind
	rateHz float64
	reach  int64
	want   []int64     // places of beats by hand, rising, that were not measured yet
	ready  []beat.Beat // measured, rising, not told yet
	placed []int64     // all places of beats by hand, rising
	gone   []int64     // places of found beats that are moved or removed
	values []float64   // the newest values
	first  int64       // of values
}

// measuredSeconds after a beat by hand its height can be told; keptHandSeconds of the signal are kept for it.
const (
	measuredSeconds = 0.3
	keptHandSeconds = 4
)

// NewHand puts edits, in samples of the recording, to work; ratio is samples to a point.
func NewHand(edits []recording.Edit, kind beat.Kind, pointHz float64, ratio int) *Hand {
	if len(edits) == 0 {
		return &Hand{}
	}
	h := &Hand{kind: kind, rateHz: pointHz, reach: int64(EditReachSeconds * pointHz)}
	for _, e := range edits {
		if e.At != nil {
			h.want = append(h.want, *e.At/int64(ratio))
		}
		if e.Was != nil {
			h.gone = append(h.gone, *e.Was/int64(ratio))
		}
	}
	slices.Sort(h.want)
	h.placed = slices.Clone(h.want)
	return h
}

// Samples takes the channel's values in, beginning at point first.
func (h *Hand) Samples(first int64, values []float64) {
	if len(h.want) == 0 || len(values) == 0 {
		return
	}
	if first != h.first+int64(len(h.values)) {
		h.values, h.first = h.values[:0], first
	}
	h.values = append(h.values, values...)
	end := first + int64(len(values))
	for len(h.want) > 0 && float64(end-h.want[0]) > measuredSeconds*h.rateHz {
		h.measure()
	}
	if most := int(keptHandSeconds * h.rateHz); len(h.values) > 2*most {
		cut := len(h.values) - most
		h.values, h.first = append(h.values[:0], h.values[cut:]...), h.first+int64(cut)
	}
}

// measure makes a beat of the first place wanted: its foot, where the steepest rise before the peak meets the level of the
// lowest point, and its height over that or, of an R peak, over the middle of what lies around.
func (h *Hand) measure() {
	at := h.want[0]
	h.want = h.want[1:]
	b := beat.Beat{Sample: at, Foot: at, Kind: h.kind, Quality: 1}
	defer func() { h.ready = append(h.ready, b) }()
	from := max(h.first, at-int64(0.6*h.rateHz))
	to := min(h.first+int64(len(h.values)), at+int64(measuredSeconds*h.rateHz)+1)
	if at < from || at >= to {
		return
	}
	v := smooth(h.values[from-h.first:to-h.first], int(0.02*h.rateHz))
	known := slices.DeleteFunc(slices.Clone(v), math.IsNaN)
	peak := at - from
	if len(known) == 0 || math.IsNaN(v[peak]) {
		return
	}
	slices.Sort(known)
	middle := quantile.Of(known, 0.5)
	if h.kind == beat.ECG {
		b.Amplitude = h.values[at-h.first] - middle
		return
	}
	sign := 1.0
	if v[peak] < middle {
		sign = -1
	}
	b.Foot, b.Amplitude = foot(v, int(peak), sign)
	b.Foot += from
}

// foot of the pulse whose peak is v[peak], and its height.
func foot(v []float64, peak int, sign float64) (at int64, height float64) {
	low, steep, best := peak, peak, 0.0
	for i := peak - 1; i >= 1 && !math.IsNaN(v[i-1]); i-- {
		if sign*v[i] < sign*v[low] {
			low = i
		}
	}
	for i := low + 1; i < peak; i++ {
		if rise := sign * (v[i+1] - v[i-1]); rise > best {
			steep, best = i, rise
		}
	}
	if at = int64(low); best > 0 {
		at = max(at, int64(math.Round(float64(steep)-2*sign*(v[steep]-v[low])/best)))
	}
	return at, sign * (v[peak] - v[low])
}

// smooth is the mean over 2·half+1 values, those missing left out.
func smooth(v []float64, half int) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		sum, n := 0.0, 0
		for _, x := range v[max(0, i-half):min(len(v), i+half+1)] {
			if !math.IsNaN(x) {
				sum, n = sum+x, n+1
			}
		}
		out[i] = sum / float64(n)
	}
	return out
}

// Beat tells the beats by hand before a found one, and the found one unless it is moved, removed or
// one by hand stands in its place.
func (h *Hand) Beat(b beat.Beat, tell func(beat.Beat)) {
	h.Until(b.Sample, tell)
	if i := slices.IndexFunc(h.gone, func(at int64) bool { return abs(at-b.Sample) <= h.reach }); i >= 0 {
		h.gone = slices.Delete(h.gone, i, i+1)
		return
	}
	i, _ := slices.BinarySearch(h.placed, b.Sample-h.reach+1)
	if i < len(h.placed) && h.placed[i] < b.Sample+h.reach {
		return
	}
	tell(b)
}

// Until tells the beats by hand up to a point that were not told yet.
func (h *Hand) Until(at int64, tell func(beat.Beat)) {
	for len(h.want) > 0 && h.want[0] <= at {
		h.measure()
	}
	for len(h.ready) > 0 && h.ready[0].Sample <= at {
		tell(h.ready[0])
		h.ready = h.ready[1:]
	}
}

// By tells whether a beat at a point is by hand.
func (h *Hand) By(at int64) bool { _, ok := slices.BinarySearch(h.placed, at); return ok }

func abs(x int64) int64 { return max(x, -x) }
