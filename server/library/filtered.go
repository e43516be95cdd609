package library

import (
	"context"
	"encoding/json"
	"math"

	"pulsewright/acquire/guard"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
	"pulsewright/server/library/overview"
)

const (
	// directSamples is the longest stretch that is filtered anew for each view;
	// longer ones come from a pyramid of the filtered values.
	directSamples = 1 << 20
	// filteredSteps of a filtered pyramid make up one count.
	filteredSteps = 16
)

// shown is how a channel is shown where that is not as it was recorded: through a path,
// or, where point is that of the scale, only with its coupling undone.
type shown struct {
	path  *signalpath.Settings
	point int
}

// plan tells how each channel is shown for the paths asked for, nil where it is as it was
// recorded, and whether any is not. An error names what a path must be.
func plan(rec *channel.Recording, paths []*signalpath.Settings) (list []*shown, any bool, err error) {
	list = make([]*shown, len(rec.Channels))
	for c := range list {
		switch {
		case c < len(paths) && paths[c] != nil:
			if err := channel.CheckPath(*paths[c], rec.PointHz()); err != nil {
				return nil, false, err
			}
			list[c] = &shown{paths[c], channel.PointSmooth}
		case rec.Channels[c].Scale.CouplingHz != 0:
			list[c] = &shown{nil, channel.PointScale}
		}
		any = any || list[c] != nil
	}
	return list, any, nil
}

// through is a stretch of a recording as it is shown.
type through struct {
	rec      *channel.Recording
	list     []*shown
	from, to int64
}

// run runs the channels that are not shown as recorded through their engines and hands on
// what comes out, in order, with the index of its first point. values is valid during the
// call only.
func (t through) run(ctx context.Context, take func(c int, at int64, values []float64)) error {
	rec, run := t.rec, channel.Run{From: t.from, To: t.to, Ends: func(from int64) int64 { return from + recording.BlockSamples }}
	for c, s := range t.list {
		if s == nil {
			continue
		}
		run.Channels = append(run.Channels, c)
		if s.path != nil {
			rec, run.Parts = rec.Say(c, channel.Said{Path: s.path}), channel.Path
		}
	}
	run.Take = func(k int, e *channel.Engine, out *channel.Output, _ int64) {
		c := run.Channels[k]
		rec.AsAtEnd(c, e, out)
		take(c, out.First, out.Series[t.list[c].point])
	}
	return rec.Run(ctx, run)
}

// filteredPyramid is a pyramid of a recording's channels after their paths, with
// sixteenths of a count for counts; its channels without a path are empty.
type filteredPyramid struct {
	key     string // the paths, as JSON
	step    []float64
	stop    context.CancelFunc
	pyramid *overview.Pyramid
	share   float64
	err     error
}

// filteredView fills the channels of a plan from the filtered pyramid, which is begun when
// it is not there. Called with r.mu held.
func (r *review) filteredView(v *View, list []*shown) error {
	paths := make([]*signalpath.Settings, len(list))
	for c, s := range list {
		if s != nil {
			paths[c] = s.path
		}
	}
	data, err := json.Marshal(paths)
	if err != nil {
		return err
	}
	f := r.filteredAll
	if f == nil || f.key != string(data) {
		if f != nil {
			f.stop()
		}
		ctx, stop := context.WithCancel(r.life)
		f = &filteredPyramid{key: string(data), stop: stop}
		for c := range r.info.Channels {
			f.step = append(f.step, math.Abs(r.linear(c).Factor)/filteredSteps)
		}
		r.filteredAll = f
		r.work.Go(func() { r.buildFiltered(ctx, f, list) })
	}
	if f.err != nil {
		return f.err
	}
	out := overview.Rows(len(v.Low), len(v.Low[0]))
	ready := f.pyramid != nil && f.pyramid.Columns(out, v.From, v.To)
	if !ready {
		v.Exact, v.Share = false, f.share
	}
	for c := range out {
		if list[c] == nil {
			continue
		}
		for i, e := range out[c] {
			v.Low[c][i], v.High[c][i] = float32(math.NaN()), float32(math.NaN())
			if ready && e.Known() {
				v.Low[c][i], v.High[c][i] = float32(float64(e.Low)*f.step[c]), float32(float64(e.High)*f.step[c])
			}
		}
	}
	return nil
}

func (r *review) buildFiltered(ctx context.Context, f *filteredPyramid, list []*shown) {
	rec, err := r.another()
	var p *overview.Pyramid
	if err == nil {
		err = guard.Call("filtering "+r.id, func() (err error) {
			p, err = f.build(ctx, through{rec, list, 0, rec.File.Len()}, func(share float64) {
				r.mu.Lock()
				f.share = share
				r.mu.Unlock()
			})
			return err
		})
		rec.File.Close()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	f.pyramid, f.err = p, err
}

// build filters the whole file.
func (f *filteredPyramid) build(ctx context.Context, t through, progress func(float64)) (*overview.Pyramid, error) {
	length, ratio := t.to, int64(t.rec.Start.Ratio)
	rows := overview.Rows(len(t.list), int((length+overview.Base-1)/overview.Base))
	told := int64(0)
	err := t.run(ctx, func(c int, at int64, values []float64) {
		for i, y := range values {
			if math.IsNaN(y) {
				continue
			}
			count := int32(max(-1<<30, min(1<<30, math.Round(y/f.step[c]))))
			rows[c][(at+int64(i))*ratio/overview.Base].Count(count)
		}
		if at*ratio-told > 1<<20 {
			told = at * ratio
			progress(float64(told) / float64(length))
		}
	})
	if err != nil {
		return nil, err
	}
	return overview.Of(length, rows), nil
}
