package library

import (
	"context"
	"encoding/json"
	"math"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/signalpath"
)

const (
	// directSamples is the longest stretch that is filtered anew for each view;
	// longer ones come from a pyramid of the filtered values.
	directSamples = 1 << 20
	// filteredSteps of a filtered pyramid make up one count.
	filteredSteps = 16
)

// throughPaths runs the samples [from, to) of a file through each channel's path
// (nil: the channel is left out) and hands on what comes out after the smooth
// stage, in order, with the index of its first sample. After missing samples a path
// begins anew. values is valid during the call only.
func throughPaths(ctx context.Context, file *recording.File, settings []*signalpath.Settings, from, to int64, take func(c int, at int64, values []float64)) error {
	info := file.Describe()
	paths := make([]*signalpath.Path, len(info.Channels))
	gap := make([]bool, len(info.Channels))
	for c := range paths {
		if settings[c] == nil {
			continue
		}
		path, err := signalpath.New(*settings[c], info.ClaimedRateHz)
		if err != nil {
			return err
		}
		paths[c] = path
	}
	var out, part [signalpath.Points][]float64
	for i := range out {
		out[i] = make([]float64, recording.BlockSamples)
	}
	values := make([]float64, recording.BlockSamples)
	return file.Blocks(ctx, from, to, func(at int64, counts [][]int32) error {
		n := len(counts[0])
		for c, path := range paths {
			if path == nil {
				continue
			}
			channel := info.Channels[c]
			for i := 0; i < n; {
				j := i
				for j < n && counts[c][j] != acquire.MissingCount {
					values[j-i] = channel.Value(counts[c][j])
					j++
				}
				if j == i {
					gap[c] = true
					i++
					continue
				}
				if gap[c] {
					path.Reset()
					gap[c] = false
				}
				for p := range part {
					part[p] = out[p][:j-i]
				}
				path.Process(&part, values[:j-i])
				take(c, at+int64(i), part[signalpath.PointSmooth])
				i = j
			}
		}
		return nil
	})
}

// filteredPyramid is a pyramid of a recording's channels after their paths, with
// sixteenths of a count for counts; its channels without a path are empty.
type filteredPyramid struct {
	key     string // the paths, as JSON
	step    []float64
	stop    context.CancelFunc
	pyramid *Pyramid
	share   float64
	err     error
}

// filteredView fills the channels that have a path from the filtered pyramid, which
// is begun when it is not there. Called with r.mu held.
func (r *review) filteredView(v *View, paths []*signalpath.Settings) error {
	data, err := json.Marshal(paths)
	if err != nil {
		return err
	}
	f := r.filteredAll
	if f == nil || f.key != string(data) {
		for _, p := range paths {
			if p != nil {
				if _, err := signalpath.New(*p, r.info.ClaimedRateHz); err != nil {
					return err
				}
			}
		}
		if f != nil {
			f.stop()
		}
		ctx, stop := context.WithCancel(r.life)
		f = &filteredPyramid{key: string(data), stop: stop}
		for _, c := range r.info.Channels {
			f.step = append(f.step, math.Abs(c.Value(1)-c.Value(0))/filteredSteps)
		}
		r.filteredAll = f
		r.work.Go(func() { r.buildFiltered(ctx, f, paths) })
	}
	if f.err != nil {
		return f.err
	}
	out := make([][]extent, len(v.Low))
	for c := range out {
		out[c] = make([]extent, len(v.Low[c]))
	}
	ready := f.pyramid != nil && f.pyramid.columns(out, v.From, v.To)
	if !ready {
		v.Exact, v.Share = false, f.share
	}
	for c := range out {
		if paths[c] == nil {
			continue
		}
		for i, e := range out[c] {
			v.Low[c][i], v.High[c][i] = float32(math.NaN()), float32(math.NaN())
			if ready && e.low <= e.high {
				v.Low[c][i], v.High[c][i] = float32(float64(e.low)*f.step[c]), float32(float64(e.high)*f.step[c])
			}
		}
	}
	return nil
}

func (r *review) buildFiltered(ctx context.Context, f *filteredPyramid, paths []*signalpath.Settings) {
	file, err := recording.Open(r.path)
	var p *Pyramid
	if err == nil {
		p, err = f.build(ctx, file, paths, func(share float64) {
			r.mu.Lock()
			f.share = share
			r.mu.Unlock()
		})
		file.Close()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	f.pyramid, f.err = p, err
}

// build filters the whole file.
func (f *filteredPyramid) build(ctx context.Context, file *recording.File, paths []*signalpath.Settings, progress func(float64)) (*Pyramid, error) {
	length := file.Len()
	b := newPyramidBuilder(len(paths))
	rows := make([][]extent, len(paths))
	for c := range rows {
		rows[c] = make([]extent, (length+pyramidBase-1)/pyramidBase)
		for i := range rows[c] {
			rows[c][i] = empty
		}
	}
	told := int64(0)
	err := throughPaths(ctx, file, paths, 0, length, func(c int, at int64, values []float64) {
		for i, y := range values {
			count := int32(max(-1<<30, min(1<<30, math.Round(y/f.step[c]))))
			e := &rows[c][(at+int64(i))/pyramidBase]
			e.low, e.high = min(e.low, count), max(e.high, count)
		}
		if at-told > 1<<20 {
			told = at
			progress(float64(at) / float64(length))
		}
	})
	if err != nil {
		return nil, err
	}
	b.p.Samples = length
	b.p.levels[0] = rows
	return b.finish(), nil
}
