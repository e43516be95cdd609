package recorder

import (
	"path/filepath"

	"pulsewright/acquire"
	"pulsewright/server/library/overview"
)

// recordedViews makes a recording's pyramid while it is written, so that a long one
// can be looked at the moment it ends. It gives up, and leaves it to the first look,
// when what is written is not just what came.
type recordedViews struct {
	channels []acquire.Channel
	b        *overview.Builder // nil once given up
}

func newRecordedViews(channels []acquire.Channel) *recordedViews {
	return &recordedViews{channels, overview.NewBuilder(len(channels))}
}

// add takes an event that was written; length is the recording's after it.
func (v *recordedViews) add(e event, start, length int64) {
	if v.b == nil || e.counts == nil && e.lost == 0 {
		return
	}
	at := e.first - start
	if gap := at - v.b.Samples; gap > 0 && e.counts != nil {
		v.b.Add(nil, gap)
	}
	switch {
	case e.counts == nil:
		if length > v.b.Samples {
			v.b.Add(nil, length-v.b.Samples)
		}
	case at == v.b.Samples && v.fits(e.counts):
		v.b.Add(e.counts, int64(len(e.counts[0])))
	default:
		v.b = nil
		return
	}
	if v.b.Samples != length {
		v.b = nil
	}
}

// fits reports whether all counts are in their channels' ranges: others are stored as
// missing.
func (v *recordedViews) fits(counts [][]int32) bool {
	for c, row := range counts {
		low, high := v.channels[c].MinCount, v.channels[c].MaxCount
		if low >= high {
			continue
		}
		for _, n := range row {
			if n != acquire.MissingCount && (n < low || n > high) {
				return false
			}
		}
	}
	return true
}

// save keeps the pyramid of a closed recording; without one it is built when needed.
func (v *recordedViews) save(path string) {
	if v.b != nil && v.b.Samples > 0 {
		_ = v.b.Finish().Save(filepath.Dir(path), filepath.Base(path))
	}
}
