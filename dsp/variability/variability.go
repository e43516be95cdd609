// Package variability describes how the intervals between heartbeats vary, when
// the pulse arrives after the R peak, and how fast the person breathes.
//
// The measures are those of "Heart rate variability: standards of measurement,
// physiological interpretation, and clinical use", Task Force of the European
// Society of Cardiology and the North American Society of Pacing and
// Electrophysiology, Circulation 93 (1996) 1043–1065. NN intervals are those
// between neighbouring normal beats. Intervals beside an ectopic beat, beside a
// missed one or beside an unsure one are left out, their share is told, and no
// successive difference reaches across one. From a finger's pulse the same
// figures are pulse rate variability, which is not quite the heart's.
//
// Intervals and times are in seconds, powers in s². A measure that needs a longer
// stretch than there is has no value and says what it needs. Nothing here is a
// diagnosis. A Tracker is not safe for concurrent use.
package variability

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/dsp/beat"
)

// Mark says whether an interval is used, and if not, why.
type Mark string

const (
	// Normal intervals are used.
	Normal Mark = "normal"
	// Ectopic intervals stand out from their neighbours: an early beat, the pause
	// after it, a pause, or a beat the detector missed.
	Ectopic Mark = "ectopic"
	// Unsure intervals begin or end at a beat of poor quality, or are of a time when the sample rate was in doubt.
	Unsure Mark = "unsure"
	// Gap is no interval: samples are missing in it, or it is longer than the
	// slowest rhythm's.
	Gap Mark = "gap"
)

// Interval lies between two beats.
type Interval struct {
	// Sample is the beat that ends it: the R peak, or the pulse's peak.
	Sample int64 `json:"sample"`
	// AtSeconds is when it ends, counted from the tracker's start.
	AtSeconds float64 `json:"atSeconds"`
	// Seconds is its length: from R peak to R peak, or for a pulse from foot to foot.
	Seconds float64 `json:"seconds"`
	Mark    Mark    `json:"mark"`
	// Quality is the lower of its two beats', 0 to 1.
	Quality float64 `json:"quality"`
	doubt   bool    // of the sample rate in it
}

const (
	// An interval is compared with the nearest ones on each side, and the spread is
	// that of so many neighbours.
	nearest, neighbours, spreadLeast = 5, 10, 8
	// strangeShare: the common 20 % rule (Malik et al. 1989, Eur. Heart J. 10:
	// 1060–1074, from memory), here against medians instead of the last interval. A
	// steady rhythm shows smaller oddities: there the limit is spreadTimes the
	// spread, leastShare at least (after the idea of Lipponen & Tarvainen 2019, J.
	// Med. Eng. Technol. 43: 173–181; numbers ours).
	strangeShare, leastShare, spreadTimes = 0.2, 0.09, 5
	// unsureQuality is where the page's words go from "poor" to "fair".
	unsureQuality = 0.4
	// longestSeconds is the interval at 20 per minute, the slowest rate that is
	// claimed; shortestSeconds that at 300 per minute.
	longestSeconds, shortestSeconds = 3.0, 0.2
)

// Classify sets each interval's Mark. An interval without a length of 0.2 to 3 s
// is a Gap, and one marked Gap stays so. One of a quality below 0.4, of a time when the sample
// rate was in doubt, or with more
// unsure than sure ones around it, is Unsure. Of the others those are Ectopic that
// differ both from the median of the five before and from that of the five after, so
// that a lasting change of the rate is followed, by more than a limit: 20 % of the
// median, or five times the spread of the ten on each side when that is less, but
// never less than 9 %. Those that follow one which was so much too short are Ectopic
// too, since an early beat begins them.
func Classify(list []Interval) { classify(list, 0) }

// classify sets the marks from index from on; those before are as they were.
func classify(list []Interval, from int) {
	for i := from; i < len(list); i++ {
		iv := &list[i]
		switch {
		case iv.Mark == Gap || !(iv.Seconds >= shortestSeconds && iv.Seconds <= longestSeconds):
			iv.Mark = Gap
		case iv.doubt || iv.Quality < unsureQuality || math.IsNaN(iv.Quality):
			iv.Mark = Unsure
		default:
			iv.Mark = Normal
		}
	}
	for i := from; i < len(list); i++ {
		if list[i].Mark != Normal {
			continue
		}
		if alone(list, i) {
			list[i].Mark = Unsure
			continue
		}
		if off, _ := strange(list, i); off {
			list[i].Mark = Ectopic
		} else if i > 0 && list[i-1].Mark != Gap && list[i-1].Mark != Unsure {
			if off, short := strange(list, i-1); off && short {
				list[i].Mark = Ectopic
			}
		}
	}
}

// alone tells whether an interval stands among unsure ones, so that nothing speaks
// for it.
func alone(list []Interval, i int) bool {
	sure, unsure := 0, 0
	for _, iv := range list[max(0, i-neighbours):min(len(list), i+1+neighbours)] {
		if iv.Mark == Unsure {
			unsure++
		} else if iv.Mark != Gap {
			sure++
		}
	}
	return unsure > sure
}

// strange tells whether an interval stands out from both sides, and whether it is
// the shorter.
func strange(list []Interval, i int) (off, short bool) {
	var near [2 * neighbours]float64
	before := lengths(near[:0], list[max(0, i-neighbours):i])
	n := len(before)
	both := lengths(before, list[i+1:min(len(list), i+1+neighbours)])
	limit := strangeShare
	if len(both) >= spreadLeast {
		// The spread among the neighbours: the median distance from their median.
		var buffer [2 * neighbours]float64
		v := append(buffer[:0], both...)
		middle := median(v)
		for k, x := range v {
			v[k] = math.Abs(x - middle)
		}
		limit = max(leastShare, min(strangeShare, spreadTimes*median(v)/middle))
	}
	x := list[i].Seconds
	sides := 0
	var middle float64
	for _, side := range [2][]float64{both[max(0, n-nearest):n], both[n:min(len(both), n+nearest)]} {
		if len(side) < 3 {
			continue
		}
		var buffer [nearest]float64
		sides++
		middle = median(append(buffer[:0], side...))
		if math.Abs(x-middle) <= limit*middle {
			return false, false
		}
	}
	return sides > 0, x < middle
}

// lengths appends those of the intervals that say something of the rhythm.
func lengths(dst []float64, list []Interval) []float64 {
	for _, iv := range list {
		if iv.Mark != Gap && iv.Mark != Unsure {
			dst = append(dst, iv.Seconds)
		}
	}
	return dst
}

// median sorts v and gives its middle, the mean of two for an even number.
func median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	if n == 0 {
		return math.NaN()
	}
	return (v[(n-1)/2] + v[n/2]) / 2
}

// Measure is one figure, or why there is none.
type Measure struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// Unit of Value: "s", "s²", "1/min", "%", or "" for a ratio.
	Unit string `json:"unit"`
	// Value is nil when there is none; Absent then says why.
	Value  *float64 `json:"value"`
	Absent string   `json:"absent,omitempty"`
	// Caveat is what to bear in mind with the value.
	Caveat string `json:"caveat,omitempty"`
	// NeededSeconds is the shortest stretch for it.
	NeededSeconds float64 `json:"neededSeconds"`
}

// Report holds the measures of a stretch.
type Report struct {
	// Name is "heart rate variability" or "pulse rate variability".
	Name string `json:"name"`
	// SpanSeconds is from the stretch's first beat to its last; UsedSeconds the
	// sum of the intervals used.
	SpanSeconds float64 `json:"spanSeconds"`
	UsedSeconds float64 `json:"usedSeconds"`
	// Intervals counts all but gaps: Used, Ectopic and Unsure ones.
	Intervals int `json:"intervals"`
	Used      int `json:"used"`
	Ectopic   int `json:"ectopic"`
	Unsure    int `json:"unsure"`
	Gaps      int `json:"gaps"`
	// LeftOutShare is the share of intervals left out, 0 to 1.
	LeftOutShare float64 `json:"leftOutShare"`
	// TimingSeconds is the step to which the beats' times are rounded.
	TimingSeconds float64   `json:"timingSeconds"`
	Measures      []Measure `json:"measures"`
}

// Value is a measure's value by its ID, NaN when it has none.
func (r Report) Value(id string) float64 {
	for _, m := range r.Measures {
		if m.ID == id && m.Value != nil {
			return *m.Value
		}
	}
	return math.NaN()
}

// Needed stretches in seconds. The Task Force asks for five minutes for short
// recordings and for 20 minutes for the geometric measures, and defines SDANN over
// a day; the shorter ones are our choice.
const (
	needMean     = 10
	needSuccess  = 60   // measures of successive differences depend little on the length
	needShort    = 300  // SDNN, SD2 and the powers
	needGeometry = 1200 // triangular index and TINN
	needSDANN    = 3600 // a dozen five-minute means
	segment      = 300
	// edgeBeats: of a stretch of so many minutes the intervals make up that much less,
	// one beat's time at most before its first beat and after its last.
	edgeBeats = 2
	// usedShare of a stretch must be intervals that are used. Our choice.
	usedShare = 0.8
)

// Of gives the measures of a stretch of intervals in order of time, as marked:
// Classify comes first. timingSeconds is the step to which the beats' times are
// rounded, 0 when they are exact.
func Of(kind beat.Kind, intervals []Interval, timingSeconds float64) Report {
	var s sums
	for _, iv := range intervals {
		s.add(iv)
	}
	return s.report(kind, timingSeconds)
}

// name is what the figures are called.
func name(kind beat.Kind) string {
	if kind == beat.Pulse {
		return "pulse rate variability"
	}
	return "heart rate variability"
}

// span writes a length of time for a person.
func span(seconds float64) string {
	whole := int(seconds)
	switch {
	case whole < 100 && whole != 60:
		return fmt.Sprintf("%d s", whole)
	case whole%60 == 0:
		if whole >= 3600 && whole%3600 == 0 {
			return fmt.Sprintf("%d h", whole/3600)
		}
		return fmt.Sprintf("%d min", whole/60)
	}
	return fmt.Sprintf("%d min %d s", whole/60, whole%60)
}
