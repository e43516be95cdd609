package library

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/plain"
)

const (
	// openReviews bounds how many recordings are held open for looking at.
	openReviews = 8
	// MaxColumns is the most columns of a view.
	MaxColumns = 4000
	// firstLook is left to the first views before the whole file is read.
	firstLook = 300 * time.Millisecond
	// learnAtOnceSeconds is the longest recording whose annotations are read before the
	// first view: what happened to its channels, and so their unit, is then known at once.
	learnAtOnceSeconds = 3600
)

// Reviews holds recordings open for looking at. Safe for concurrent use.
type Reviews struct {
	store   *Store         // immutable
	leaving sync.WaitGroup // reviews that are being closed

	// Guarded by mu.
	mu   sync.Mutex
	open []*review // the last used first
}

// review is one recording open for looking at.
type review struct {
	// Immutable after get.
	id     string
	path   string
	size   int64
	opened time.Time
	info   acquire.Info
	life   context.Context // ends with the review
	work   sync.WaitGroup  // what builds pyramids

	// Guarded by mu: reading, and what is built.
	mu      sync.Mutex
	file    *recording.File
	rec     *channel.Recording // of file
	pyramid *Pyramid
	share   float64       // of the pyramid that is built
	took    time.Duration // building it; 0 until it is built
	err     error
	stop    context.CancelFunc
	ended   chan struct{}
	// told is what the annotations tell; they are read from a file of their own, so
	// that views need not wait for it.
	told told
	// filteredAll is the whole recording after the paths looked at last, or nil.
	filteredAll *filteredPyramid
}

// told is what a recording's annotations tell.
type told struct {
	// Guarded by mu.
	mu          sync.Mutex
	read        bool
	annotations []recording.Annotation
	gaps        []recording.Gap
}

// annotations reads them once.
func (r *review) annotations() ([]recording.Annotation, []recording.Gap, error) {
	t := &r.told
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.read {
		file, err := recording.Open(r.path)
		if err != nil {
			return nil, nil, err
		}
		t.annotations, t.gaps, t.read = file.Annotations(), file.Gaps(), true
		file.Close()
		r.mu.Lock()
		r.rec.LearnFrom(func() []recording.Annotation { return t.annotations })
		r.mu.Unlock()
	}
	return t.annotations, t.gaps, nil
}

// another opens the recording once more, so that whoever reads it need not wait.
func (r *review) another() (*channel.Recording, error) {
	if err := r.learn(); err != nil {
		return nil, err
	}
	file, err := recording.Open(r.path)
	if err != nil {
		return nil, err
	}
	rec := channel.Open(file, Said(r.path))
	rec.LearnFrom(func() []recording.Annotation { return r.told.annotations }) // only if there is anything to learn
	return rec, nil
}

// learn reads what happened to the channels within the recording, if anything is told.
func (r *review) learn() error {
	r.mu.Lock()
	known := r.rec.Known()
	r.mu.Unlock()
	if known {
		return nil
	}
	_, _, err := r.annotations()
	return err
}

// linear is how counts of channel c are shown. Called with r.mu held.
func (r *review) linear(c int) channel.Linear {
	return r.rec.Channels[c].Linear(r.info.Channels[c])
}

// NewReviews looks at the recordings of a store.
func NewReviews(store *Store) *Reviews {
	rs := &Reviews{store: store}
	store.mu.Lock()
	store.letGo = rs.forget
	store.mu.Unlock()
	return rs
}

// forget closes a recording that is open.
func (rs *Reviews) forget(id string) {
	rs.mu.Lock()
	i := slices.IndexFunc(rs.open, func(r *review) bool { return r.id == id })
	var r *review
	if i >= 0 {
		r = rs.open[i]
		rs.open = slices.Delete(rs.open, i, i+1)
	}
	rs.mu.Unlock()
	if r != nil {
		r.close()
	}
}

// Close closes what is open.
func (rs *Reviews) Close() {
	defer rs.leaving.Wait()
	rs.mu.Lock()
	list := rs.open
	rs.open = nil
	rs.mu.Unlock()
	for _, r := range list {
		r.close()
	}
}

func (r *review) close() {
	r.stop()
	<-r.ended
	r.work.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	r.file.Close()
}

// again is how long a recording that grows is looked at as it was, so that reading it
// anew takes a twentieth of the time at most.
func (r *review) again() time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.took == 0 {
		return time.Minute // it is still being read
	}
	return max(2*time.Second, readAnew*r.took)
}

// get opens a recording or finds it open.
func (rs *Reviews) get(id string) (*review, error) {
	path, err := rs.store.Path(id)
	if err != nil {
		return nil, err
	}
	stat, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	rs.mu.Lock()
	defer rs.mu.Unlock()
	for i, r := range rs.open {
		if r.id == id {
			if r.size == stat.Size() || time.Since(r.opened) < r.again() {
				copy(rs.open[1:i+1], rs.open[:i])
				rs.open[0] = r
				return r, nil
			}
			rs.open = append(rs.open[:i], rs.open[i+1:]...)
			rs.leaving.Go(r.close) // it has grown since
			break
		}
	}
	file, err := recording.Open(path)
	if err != nil {
		return nil, err
	}
	ctx, stop := context.WithCancel(context.Background())
	r := &review{id: id, path: path, size: stat.Size(), opened: time.Now(), info: file.Describe(), life: ctx, file: file, rec: channel.Open(file, Said(path)), stop: stop, ended: make(chan struct{})}
	known := r.rec.Known()
	if !known && float64(file.Len()) <= learnAtOnceSeconds*r.info.ClaimedRateHz {
		known = true
		if err := r.learn(); err != nil {
			file.Close()
			stop()
			return nil, err
		}
	}
	if p, err := rs.store.loadPyramid(id); err == nil && p.Samples == file.Len() {
		r.pyramid, r.share, r.took = p, 1, 1
		close(r.ended)
	} else {
		go rs.build(ctx, r, path)
	}
	if !known {
		r.work.Go(func() { // after the overview; whoever needs it reports what is wrong
			if <-r.ended; ctx.Err() == nil {
				_ = guard.Call("the kinds of "+r.id, r.learn)
			}
		})
	}
	rs.open = append([]*review{r}, rs.open...)
	if len(rs.open) > openReviews {
		last := rs.open[openReviews]
		rs.open = rs.open[:openReviews]
		rs.leaving.Go(last.close)
	}
	return r, nil
}

// build makes the pyramid from a reader of its own.
func (rs *Reviews) build(ctx context.Context, r *review, path string) {
	defer close(r.ended)
	select { // what is looked at first comes before
	case <-ctx.Done():
	case <-time.After(firstLook):
	}
	file, err := recording.Open(path)
	var p *Pyramid
	if err == nil {
		err = guard.Call("the overview of "+r.id, func() (err error) {
			p, err = buildPyramid(ctx, file, func(share float64) {
				r.mu.Lock()
				r.share = share
				r.mu.Unlock()
			})
			return err
		})
		file.Close()
	}
	r.mu.Lock()
	r.pyramid, r.err, r.took = p, err, time.Since(r.opened)
	r.mu.Unlock()
	if err == nil {
		_ = rs.store.savePyramid(r.id, p) // only a convenience: built anew when missing
	}
}

// View is a stretch of a recording in columns, [channel][column]; NaN where a
// column has no value.
type View struct {
	From, To  int64
	Low, High [][]float32
	// Exact is false while the pyramid is being built and the columns show only
	// a sample of each part; Share tells how far the building is.
	Exact bool
	Share float64
}

// view makes a stretch of the recording visible; paths, unless nil, has one for each
// channel, nil to show it as recorded. A stretch too long to be filtered at once has
// no values, and Share tells how far the filtering is, until all of it is filtered.
func (r *review) view(from, to int64, columns int, paths []*signalpath.Settings) (View, error) {
	if paths != nil {
		if err := r.learn(); err != nil {
			return View{}, err
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	channels := len(r.info.Channels)
	from, to = max(0, from), min(to, r.file.Len())
	if to <= from {
		return View{}, fmt.Errorf("samples %d to %d: the recording has samples 0 to %d", from, to, r.file.Len())
	}
	columns = int(min(int64(columns), to-from))
	v := View{From: from, To: to, Exact: true, Share: 1, Low: make([][]float32, channels), High: make([][]float32, channels)}
	for c := range channels {
		v.Low[c], v.High[c] = make([]float32, columns), make([]float32, columns)
	}
	list, filtered, err := plan(r.rec, paths)
	if err != nil {
		return v, err
	}
	if slices.Contains(list, nil) {
		if err := r.recorded(&v); err != nil {
			return v, err
		}
	}
	switch {
	case !filtered:
		return v, nil
	case to-from > directSamples:
		return v, r.filteredView(&v, list)
	default:
		return v, r.filtered(&v, list)
	}
}

// recorded fills a view with what was recorded.
func (r *review) recorded(v *View) error {
	from, to, columns := v.From, v.To, len(v.Low[0])
	out := make([][]extent, len(v.Low))
	for c := range out {
		out[c] = make([]extent, columns)
	}
	switch {
	case r.pyramid != nil && r.pyramid.columns(out, from, to):
	case (to-from)/int64(columns) < 4*pyramidBase:
		if err := r.direct(out, from, to); err != nil {
			return err
		}
	default: // the pyramid is not there yet: a few samples of each column
		v.Exact, v.Share = false, r.share
		if r.err != nil {
			return r.err
		}
		if err := r.sampled(out, from, to); err != nil {
			return err
		}
	}
	for c := range r.info.Channels {
		l := r.linear(c)
		for i, e := range out[c] {
			if e.low > e.high {
				v.Low[c][i], v.High[c][i] = float32(math.NaN()), float32(math.NaN())
				continue
			}
			a, b := l.Value(e.low), l.Value(e.high)
			v.Low[c][i], v.High[c][i] = float32(min(a, b)), float32(max(a, b))
		}
	}
	return nil
}

// direct reads every sample.
func (r *review) direct(out [][]extent, from, to int64) error {
	n := int64(len(out[0]))
	for c := range out {
		for i := range out[c] {
			out[c][i] = empty
		}
	}
	return r.file.Blocks(r.life, from, to, func(at int64, counts [][]int32) error {
		for c := range out {
			for i, v := range counts[c] {
				if v != acquire.MissingCount {
					e := &out[c][(at+int64(i)-from)*n/(to-from)]
					e.low, e.high = min(e.low, v), max(e.high, v)
				}
			}
		}
		return nil
	})
}

// sampled reads a short run in each column.
func (r *review) sampled(out [][]extent, from, to int64) error {
	n := int64(len(out[0]))
	counts := make([][]int32, len(out))
	for c := range counts {
		counts[c] = make([]int32, 16)
	}
	for i := range n {
		got, err := r.file.ReadAt(counts, from+(to-from)*i/n)
		if got == 0 {
			return err
		}
		for c := range out {
			e := empty
			for _, v := range counts[c][:got] {
				if v != acquire.MissingCount {
					e.add(extent{v, v})
				}
			}
			out[c][i] = e
		}
	}
	return nil
}

// filtered runs the stretch, and what comes before it, through the engines of the
// channels of a plan; the others are left as they are.
func (r *review) filtered(v *View, list []*shown) error {
	n, ratio := int64(len(v.Low[0])), int64(r.rec.Start.Ratio)
	for c := range list {
		if list[c] == nil {
			continue
		}
		for i := range v.Low[c] {
			v.Low[c][i], v.High[c][i] = float32(math.NaN()), float32(math.NaN())
		}
	}
	return through{r.rec, list, v.From, v.To}.run(r.life, func(c int, at int64, values []float64) {
		low, high := v.Low[c], v.High[c]
		for k, y := range values {
			// A point stands for so many samples.
			first, last := (at+int64(k))*ratio, (at+int64(k)+1)*ratio-1
			if last < v.From || first >= v.To {
				continue
			}
			first, last = max(first, v.From), min(last, v.To-1)
			y := float32(y)
			for column := (first - v.From) * n / (v.To - v.From); column <= (last-v.From)*n/(v.To-v.From); column++ {
				if !(low[column] <= y) && y == y {
					low[column] = y
				}
				if !(high[column] >= y) && y == y {
					high[column] = y
				}
			}
		}
	})
}

// parsePaths reads the paths of a view: one object for all channels, or a list with
// an object or null for each.
func parsePaths(text string, channels int) ([]*signalpath.Settings, error) {
	if text == "" {
		return nil, nil
	}
	paths := make([]*signalpath.Settings, channels)
	if strings.HasPrefix(strings.TrimSpace(text), "[") {
		var list []*signalpath.Settings
		if err := json.Unmarshal([]byte(text), &list); err != nil {
			return nil, fmt.Errorf("path: %s; give a list of path settings, null for a channel as recorded", plain.JSON(err))
		}
		if len(list) > channels {
			return nil, fmt.Errorf("path: %d settings for %d channels: give one for each, in their order", len(list), channels)
		}
		copy(paths, list)
	} else {
		one := new(signalpath.Settings)
		if err := json.Unmarshal([]byte(text), one); err != nil {
			return nil, fmt.Errorf("path: %s", plain.JSON(err))
		}
		for c := range paths {
			paths[c] = one
		}
	}
	for _, p := range paths {
		if p != nil {
			return paths, nil
		}
	}
	return nil, nil
}

// AskError says that a recording has not what was asked for.
type AskError struct {
	text string
	// NoChannel says that it is the channel that there is not.
	NoChannel bool
}

// Error implements error.
func (e *AskError) Error() string { return e.text }

// ViewQuery is what a view is asked for.
type ViewQuery struct {
	From, To int64 // samples
	Columns  int   // 1 to MaxColumns
	// Path is "" to see the recording as it is, else the settings of a path as JSON: one
	// object for all channels, or a list with an object or null for each.
	Path string
}

// View shows a stretch of a recording.
func (rs *Reviews) View(id string, q ViewQuery) (View, error) {
	if q.Columns < 1 || q.Columns > MaxColumns {
		return View{}, &AskError{text: fmt.Sprintf("columns=%d: give 1 to %d", q.Columns, MaxColumns)}
	}
	review, err := rs.get(id)
	if err != nil {
		return View{}, err
	}
	paths, err := parsePaths(q.Path, len(review.info.Channels))
	if err != nil {
		return View{}, &AskError{text: err.Error()}
	}
	return review.view(q.From, q.To, q.Columns, paths)
}

// Mark is a beat of a recording.
type Mark struct {
	Sample  int64   `json:"sample"`
	Kind    string  `json:"kind"`
	Quality float64 `json:"quality"`
}

// BeatQuery is which beats are asked for: those stored in the recording or, with a channel in
// Find, of 0 or more, those that the live view's detector finds there, of the samples in [From, To).
type BeatQuery struct {
	Find     int
	From, To int64
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

func (r *review) beats(ctx context.Context, q BeatQuery) ([][]Mark, error) {
	find, from, to := q.Find, q.From, q.To
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
		part.To, part.Progress = min(to, part.To), q.Progress
		return out, analysis.Beats(ctx, part, func(b beat.Beat) {
			if b.Sample >= from {
				out[find] = append(out[find], Mark{b.Sample, string(b.Kind), math.Round(b.Quality*100) / 100})
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
			out[channel] = append(out[channel], Mark{n.Sample, kind, quality})
		}
	}
	return out, nil
}
