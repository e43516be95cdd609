// Package overview holds the least and greatest counts of parts of a recording, coarser and coarser,
// so that any stretch of a day is drawn from a few thousand numbers.
package overview

import (
	"context"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
)

const (
	// Base is how many samples the finest level joins; finer views read the
	// recording itself: 2000 columns then need at most half a million samples.
	Base = 256
	// step is how many entries a level joins into one of the next.
	step = 8
)

// Extent is the least and the greatest count of some samples; Low > High says
// that none of them has a value.
type Extent struct{ Low, High int32 }

var empty = Extent{1<<31 - 1, -1 << 31}

// Known reports whether a sample has a value.
func (e Extent) Known() bool { return e.Low <= e.High }

// Count takes in a count, unless it is missing.
func (e *Extent) Count(v int32) {
	if v != acquire.MissingCount {
		e.Low, e.High = min(e.Low, v), max(e.High, v)
	}
}

func (e *Extent) add(o Extent) { e.Low, e.High = min(e.Low, o.Low), max(e.High, o.High) }

// Rows are n extents of no samples for each channel, [channel][n].
func Rows(channels, n int) [][]Extent {
	rows := make([][]Extent, channels)
	for c := range rows {
		rows[c] = slices.Repeat([]Extent{empty}, n)
	}
	return rows
}

// Pyramid holds the extents of a recording's channels over 256, 2048, 16384 …
// samples, so that any stretch of a day is drawn from a few thousand numbers.
// It is read-only once built.
type Pyramid struct {
	Samples int64
	levels  [][][]Extent // [level][channel]
}

// Of makes a Pyramid of its finest level: for each channel the extents of Base samples each.
func Of(samples int64, finest [][]Extent) *Pyramid {
	p := &Pyramid{Samples: samples, levels: [][][]Extent{finest}}
	for len(p.levels[len(p.levels)-1][0]) > step {
		fine := p.levels[len(p.levels)-1]
		coarse := make([][]Extent, len(fine))
		for c, row := range fine {
			for at := 0; at < len(row); at += step {
				e := empty
				for _, o := range row[at:min(at+step, len(row))] {
					e.add(o)
				}
				coarse[c] = append(coarse[c], e)
			}
		}
		p.levels = append(p.levels, coarse)
	}
	return p
}

// Builder makes a Pyramid of blocks in order.
type Builder struct {
	Samples int64 // taken so far
	rows    [][]Extent
	open    []Extent // the entry under way, by channel
	n       int      // samples in it
}

// NewBuilder begins a Pyramid of so many channels.
func NewBuilder(channels int) *Builder {
	return &Builder{rows: make([][]Extent, channels), open: slices.Repeat([]Extent{empty}, channels)}
}

// Add takes the next n samples; counts nil stands for missing ones.
func (b *Builder) Add(counts [][]int32, n int64) {
	for done := int64(0); done < n; {
		k := min(n-done, int64(Base-b.n))
		for c, row := range counts {
			e := b.open[c]
			for _, v := range row[done : done+k] {
				e.Count(v)
			}
			b.open[c] = e
		}
		b.n += int(k)
		done += k
		if b.n == Base {
			b.push()
		}
	}
	b.Samples += n
}

func (b *Builder) push() {
	for c, e := range b.open {
		b.rows[c], b.open[c] = append(b.rows[c], e), empty
	}
	b.n = 0
}

// Finish closes the last entry and makes the coarser levels.
func (b *Builder) Finish() *Pyramid {
	if b.n > 0 {
		b.push()
	}
	return Of(b.Samples, b.rows)
}

// Build reads a whole recording; progress is called with the share done.
func Build(ctx context.Context, f *recording.File, progress func(share float64)) (*Pyramid, error) {
	b := NewBuilder(len(f.Describe().Channels))
	err := f.Blocks(ctx, 0, f.Len(), func(at int64, counts [][]int32) error {
		n := int64(len(counts[0]))
		b.Add(counts, n)
		progress(float64(at+n) / float64(f.Len()))
		return nil
	})
	if err != nil {
		return nil, err
	}
	return b.Finish(), nil
}

// Columns fills out, [channel][column], with the extents of equal parts of the
// samples [from, to). It uses the coarsest level that is finer than a column and
// reports false when a column holds fewer samples than the finest level joins.
func (p *Pyramid) Columns(out [][]Extent, from, to int64) bool {
	n := int64(len(out[0]))
	perColumn := (to - from) / n
	level, joined := -1, int64(Base)
	for l := range p.levels {
		if joined*4 > perColumn && l > 0 || joined > perColumn {
			break
		}
		level = l
		joined *= step
	}
	if level < 0 {
		return false
	}
	joined = Base
	for range level {
		joined *= step
	}
	for c := range out {
		row := p.levels[level][c]
		for i := range out[c] {
			a := (from + (to-from)*int64(i)/n) / joined
			b := (from + (to-from)*int64(i+1)/n + joined - 1) / joined
			e := empty
			for k := max(0, a); k < min(b, int64(len(row))); k++ {
				e.add(row[k])
			}
			out[c][i] = e
		}
	}
	return true
}
