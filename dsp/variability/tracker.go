package variability

import (
	"fmt"
	"math"

	"pulsewright/dsp/beat"
)

// Config of a Tracker.
type Config struct {
	Kind beat.Kind
	// RateHz counts the samples, 1 to 192000.
	RateHz float64
	// StepSamples is the step of the beats' indices, where they come from a
	// decimated signal; 0 means 1.
	StepSamples int
	// KeepAll keeps every interval, not only the newest: memory then grows by each beat.
	KeepAll bool
}

// KeptSeconds is the longest stretch whose intervals are kept one by one; of what
// came before, the sums are.
const KeptSeconds = 900

// movedSeconds is how much later than it happens a change of the rate may be told.
const movedSeconds = 15

// noticeSeconds is how much later than it begins a doubt of the rate may be told.
const noticeSeconds = 5

// Tracker follows one channel's beats. Beats and samples come in order; a beat may
// come up to 10 s after its samples. Its memory is bounded, each beat costs the same,
// and a stretch of up to KeptSeconds or all since the start can be asked for at any
// time. Not safe for concurrent use.
type Tracker struct {
	config Config
	rateHz float64
	level  level
	now    int64 // one past the newest sample

	intervals []Interval
	signs     []sign  // of the beat that ends each interval
	have      bool    // a beat before
	broken    bool    // a gap since
	last      int64   // fiducial of the newest beat
	quality   float64 // of it
	at        float64 // when it was
	doubt     bool    // whether the sample rate is in doubt now,
	doubtFrom int64   // from where it is or was last,
	doubtTo   int64   // and where it was again known
	committed int     // of intervals, in whole
	whole     sums
}

// sign is what a beat tells of breathing, and where it is.
type sign struct {
	fiducial  int64
	amplitude float64
	level     float64 // mean of the signal over the interval
}

// NewTracker makes a tracker. Errors name the value and its range.
func NewTracker(c Config) (*Tracker, error) {
	if !(c.RateHz >= 1 && c.RateHz <= 192000) {
		return nil, fmt.Errorf("variability: rate of %g Hz; must be 1 to 192000", c.RateHz)
	}
	if c.Kind != beat.ECG && c.Kind != beat.Pulse {
		return nil, fmt.Errorf("variability: kind %q; must be %q or %q", c.Kind, beat.ECG, beat.Pulse)
	}
	if c.StepSamples < 0 {
		return nil, fmt.Errorf("variability: step of %d samples; must be 0 or more", c.StepSamples)
	}
	t := &Tracker{config: c, rateHz: c.RateHz}
	t.level.init(c.RateHz)
	return t, nil
}

// Kind is the kind of beats followed.
func (t *Tracker) Kind() beat.Kind { return t.config.Kind }

// SetRateHz tells a better measured sample rate: intervals from now on follow it.
func (t *Tracker) SetRateHz(hz float64) {
	if hz > 0 && !math.IsInf(hz, 1) {
		t.rateHz = hz
	}
}

// Moved tells that the sample rate has been another one since sample from: intervals after
// it are mended, of the last movedSeconds.
func (t *Tracker) Moved(from int64, hz float64) {
	old, shift := t.rateHz, 0.0
	t.SetRateHz(hz)
	for i := max(1, t.committed); i < len(t.intervals); i++ {
		a, b := t.signs[i-1].fiducial, t.signs[i].fiducial
		if iv := &t.intervals[i]; b > from {
			seconds := float64(b-max(a, from))/t.rateHz + float64(max(0, from-a))/old
			shift += seconds - iv.Seconds
			iv.Seconds, iv.AtSeconds = seconds, iv.AtSeconds+shift
		}
	}
	t.at += shift
}

// Doubt tells that from sample from on the sample rate is in doubt, or is no more: intervals of such a time,
// and of noticeSeconds before, are Unsure.
func (t *Tracker) Doubt(from int64, on bool) {
	if on == t.doubt {
		return
	}
	if t.doubt = on; !on {
		t.doubtTo = from
		return
	}
	t.doubtFrom = from - int64(noticeSeconds*t.rateHz)
	for i := t.committed; i < len(t.intervals); i++ {
		t.intervals[i].doubt = t.intervals[i].doubt || t.signs[i].fiducial > t.doubtFrom
	}
}

// SetStepSamples tells the step of the beats' indices, see Config.
func (t *Tracker) SetStepSamples(n int) {
	if n > 0 {
		t.config.StepSamples = n
	}
}

// Samples takes the signal, in any unit, beginning at sample first; NaN is a
// missing value. Without it there is no breathing seen in the baseline.
func (t *Tracker) Samples(first int64, values []float64) {
	t.level.add(first, values)
	t.now = max(t.now, first+int64(len(values)))
}

// Break says that samples are missing from here on, or that the beat finder begins
// anew: the interval to the next beat is none.
func (t *Tracker) Break() { t.broken = true }

// Beats takes the next beats.
func (t *Tracker) Beats(list []beat.Beat) {
	for _, b := range list {
		t.beat(b)
	}
}

func (t *Tracker) beat(b beat.Beat) {
	// A pulse's foot is steadier than its rounded peak.
	fiducial := b.Sample
	if t.config.Kind == beat.Pulse && b.Foot < b.Sample {
		fiducial = b.Foot
	}
	if math.IsNaN(b.Quality) {
		b.Quality = 0
	}
	t.now = max(t.now, b.Sample+1)
	if t.have && fiducial <= t.last {
		return
	}
	iv := Interval{Sample: b.Sample, Quality: b.Quality, Mark: Gap, doubt: fiducial > t.doubtFrom && (t.doubt || t.last < t.doubtTo)}
	s := sign{fiducial: fiducial, amplitude: math.Abs(b.Amplitude), level: math.NaN()}
	if t.have {
		iv.Seconds = float64(fiducial-t.last) / t.rateHz
		t.at += iv.Seconds
		if n := len(t.intervals); n > 0 {
			iv.Quality = min(b.Quality, t.quality)
		}
		if !t.broken {
			iv.Mark = Normal
			s.level = t.level.mean(t.last, fiducial)
		}
	} else {
		t.at = float64(fiducial) / t.rateHz
	}
	iv.AtSeconds = t.at
	t.have, t.broken, t.last, t.quality = true, false, fiducial, b.Quality
	t.intervals, t.signs = append(t.intervals, iv), append(t.signs, s)
	// Marks cost most in small pieces: they are set when somebody looks, or now and then.
	if len(t.intervals)-t.committed >= 8*neighbours {
		t.settle()
		t.forget()
	}
}

// settle sets the marks and commits those that stand for good, which they do when
// enough neighbours have come, and no change of the rate can reach them.
func (t *Tracker) settle() {
	classify(t.intervals, t.committed)
	for ; t.committed < len(t.intervals)-neighbours && t.at-t.intervals[t.committed].AtSeconds > movedSeconds; t.committed++ {
		t.commit(&t.whole, t.committed)
	}
}

// commit adds an interval to sums; the first beat of all ends none.
func (t *Tracker) commit(to *sums, i int) {
	if iv := t.intervals[i]; iv.Seconds > 0 {
		to.add(iv)
	}
}

// forget drops what is older than KeptSeconds, half of that at a time.
func (t *Tracker) forget() {
	if t.config.KeepAll || t.at-t.intervals[0].AtSeconds < 1.5*KeptSeconds {
		return
	}
	n := 0
	for n < t.committed && t.at-t.intervals[n].AtSeconds > KeptSeconds+longestSeconds {
		n++
	}
	t.intervals = t.intervals[:copy(t.intervals, t.intervals[n:])]
	t.signs = t.signs[:copy(t.signs, t.signs[n:])]
	t.committed -= n
}

// SinceSeconds is the time since the newest beat, infinite before the first.
func (t *Tracker) SinceSeconds() float64 {
	if !t.have {
		return math.Inf(1)
	}
	return float64(t.now-t.last) / t.rateHz
}

// Stretch is a copy of the newest intervals that reach back to seconds before the
// newest beat (at most KeptSeconds), or with seconds 0 of everything since the start:
// then only the newest intervals are listed, unless all are kept.
func (t *Tracker) Stretch(seconds float64) Stretch {
	t.settle()
	s := Stretch{kind: t.config.Kind, breath: t.breathRows(breathSeconds), since: t.SinceSeconds(), timing: float64(max(1, t.config.StepSamples)) / t.rateHz}
	reach := seconds
	if seconds == 0 {
		reach = KeptSeconds
		if t.config.KeepAll {
			reach = math.Inf(1)
		}
		all := t.whole.fork()
		for i := t.committed; i < len(t.intervals); i++ {
			t.commit(&all, i)
		}
		s.whole = &all
	}
	from := len(t.intervals)
	for from > 0 && t.intervals[from-1].Seconds > 0 {
		from--
		if t.at-t.intervals[from].AtSeconds+t.intervals[from].Seconds >= reach {
			break
		}
	}
	s.Intervals = append([]Interval{}, t.intervals[from:]...)
	return s
}

// Stretch is a part of what a Tracker has seen.
type Stretch struct {
	Intervals []Interval
	kind      beat.Kind
	timing    float64
	whole     *sums
	breath    []breathRow
	since     float64
}

// Breathing looks at the last minute of beats before the stretch's end, see
// Tracker.Breathing.
func (s Stretch) Breathing() Breathing { return breathe(s.breath, s.since) }

// Report gives its measures.
func (s Stretch) Report() Report {
	if s.whole != nil {
		return s.whole.report(s.kind, s.timing)
	}
	return Of(s.kind, s.Intervals, s.timing)
}

// level keeps sums of the signal in bins of 20 ms for the last seconds.
type level struct {
	width int64
	sum   []float64
	n     []int32
	at    []int64 // which bin lies in the slot
}

const levelSeconds = 16

func (l *level) init(rateHz float64) {
	l.width = max(1, int64(rateHz/50))
	slots := int64(levelSeconds*rateHz)/l.width + 2
	l.sum, l.n, l.at = make([]float64, slots), make([]int32, slots), make([]int64, slots)
	for i := range l.at {
		l.at[i] = -1
	}
}

func (l *level) add(first int64, values []float64) {
	if first < 0 { // nothing is asked of the time before
		n := min(-first, int64(len(values)))
		values, first = values[n:], first+n
	}
	slots := int64(len(l.sum))
	for len(values) > 0 {
		bin := first / l.width
		k := int(min(int64(len(values)), (bin+1)*l.width-first))
		slot := bin % slots
		if l.at[slot] != bin {
			l.at[slot], l.sum[slot], l.n[slot] = bin, 0, 0
		}
		for _, v := range values[:k] {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				l.sum[slot] += v
				l.n[slot]++
			}
		}
		values, first = values[k:], first+int64(k)
	}
}

// mean of the signal from sample from to sample to, to the nearest bin; NaN when
// more than a tenth of it is not there.
func (l *level) mean(from, to int64) float64 {
	a, b := (from+l.width/2)/l.width, (to+l.width/2)/l.width
	slots := int64(len(l.sum))
	if from < 0 || b <= a || b-a > slots {
		return math.NaN()
	}
	sum, n := 0.0, int64(0)
	for bin := a; bin < b; bin++ {
		if slot := bin % slots; l.at[slot] == bin {
			sum += l.sum[slot]
			n += int64(l.n[slot])
		}
	}
	if 10*n < 9*(b-a)*l.width {
		return math.NaN()
	}
	return sum / float64(n)
}
