package library

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"pulsewright/dsp/signalpath"
	"pulsewright/server/library/overview"
	"pulsewright/server/plain"
)

// MaxColumns is the most columns of a view.
const MaxColumns = 4000

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
	out := overview.Rows(len(v.Low), columns)
	switch {
	case r.pyramid != nil && r.pyramid.Columns(out, from, to):
	case (to-from)/int64(columns) < 4*overview.Base:
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
			if !e.Known() {
				v.Low[c][i], v.High[c][i] = float32(math.NaN()), float32(math.NaN())
				continue
			}
			a, b := l.Value(e.Low), l.Value(e.High)
			v.Low[c][i], v.High[c][i] = float32(min(a, b)), float32(max(a, b))
		}
	}
	return nil
}

// direct reads every sample.
func (r *review) direct(out [][]overview.Extent, from, to int64) error {
	n := int64(len(out[0]))
	return r.file.Blocks(r.life, from, to, func(at int64, counts [][]int32) error {
		for c := range out {
			for i, v := range counts[c] {
				out[c][(at+int64(i)-from)*n/(to-from)].Count(v)
			}
		}
		return nil
	})
}

// sampled reads a short run in each column.
func (r *review) sampled(out [][]overview.Extent, from, to int64) error {
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
			for _, v := range counts[c][:got] {
				out[c][i].Count(v)
			}
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
