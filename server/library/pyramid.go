package library

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
)

const (
	// pyramidBase is how many samples the finest level joins; finer views read the
	// recording itself: 2000 columns then need at most half a million samples.
	pyramidBase = 256
	// pyramidStep is how many entries a level joins into one of the next.
	pyramidStep   = 8
	pyramidMagic  = "PWPY\x01"
	pyramidFolder = ".views"
)

// extent is the least and the greatest count of some samples; low > high says
// that none of them has a value.
type extent struct{ low, high int32 }

var empty = extent{1<<31 - 1, -1 << 31}

func (e *extent) add(o extent) { e.low, e.high = min(e.low, o.low), max(e.high, o.high) }

// Pyramid holds the extents of a recording's channels over 256, 2048, 16384 …
// samples, so that any stretch of a day is drawn from a few thousand numbers.
// It is read-only once built.
type Pyramid struct {
	Samples int64
	levels  [][][]extent // [level][channel]
}

// pyramidBuilder makes a Pyramid of blocks in order.
type pyramidBuilder struct {
	p    *Pyramid
	open []extent // the entry under way, by channel
	n    int      // samples in it
}

func newPyramidBuilder(channels int) *pyramidBuilder {
	b := &pyramidBuilder{p: &Pyramid{levels: [][][]extent{make([][]extent, channels)}}, open: make([]extent, channels)}
	for c := range b.open {
		b.open[c] = empty
	}
	return b
}

// add takes the next n samples; counts nil stands for missing ones.
func (b *pyramidBuilder) add(counts [][]int32, n int64) {
	for done := int64(0); done < n; {
		k := min(n-done, int64(pyramidBase-b.n))
		for c, row := range counts {
			e := b.open[c]
			for _, v := range row[done : done+k] {
				if v != acquire.MissingCount {
					e.low, e.high = min(e.low, v), max(e.high, v)
				}
			}
			b.open[c] = e
		}
		b.n += int(k)
		done += k
		if b.n == pyramidBase {
			b.push()
		}
	}
	b.p.Samples += n
}

func (b *pyramidBuilder) push() {
	for c := range b.open {
		b.p.levels[0][c] = append(b.p.levels[0][c], b.open[c])
		b.open[c] = empty
	}
	b.n = 0
}

// finish closes the last entry and makes the coarser levels.
func (b *pyramidBuilder) finish() *Pyramid {
	if b.n > 0 {
		b.push()
	}
	p := b.p
	for len(p.levels[len(p.levels)-1][0]) > pyramidStep {
		fine := p.levels[len(p.levels)-1]
		coarse := make([][]extent, len(fine))
		for c, row := range fine {
			for at := 0; at < len(row); at += pyramidStep {
				e := empty
				for _, o := range row[at:min(at+pyramidStep, len(row))] {
					e.add(o)
				}
				coarse[c] = append(coarse[c], e)
			}
		}
		p.levels = append(p.levels, coarse)
	}
	return p
}

// buildPyramid reads a whole recording; progress is called with the share done.
func buildPyramid(ctx context.Context, f *recording.File, progress func(share float64)) (*Pyramid, error) {
	b := newPyramidBuilder(len(f.Describe().Channels))
	err := f.Blocks(ctx, 0, f.Len(), func(at int64, counts [][]int32) error {
		n := int64(len(counts[0]))
		b.add(counts, n)
		progress(float64(at+n) / float64(f.Len()))
		return nil
	})
	if err != nil {
		return nil, err
	}
	return b.finish(), nil
}

// columns fills out, [channel][column], with the extents of equal parts of the
// samples [from, to). It uses the coarsest level that is finer than a column and
// reports false when a column holds fewer samples than the finest level joins.
func (p *Pyramid) columns(out [][]extent, from, to int64) bool {
	n := int64(len(out[0]))
	perColumn := (to - from) / n
	level, joined := -1, int64(pyramidBase)
	for l := range p.levels {
		if joined*4 > perColumn && l > 0 || joined > perColumn {
			break
		}
		level = l
		joined *= pyramidStep
	}
	if level < 0 {
		return false
	}
	joined = pyramidBase
	for range level {
		joined *= pyramidStep
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

// pyramidPath is where a recording's pyramid is kept.
func (s *Store) pyramidPath(id string) string { return pyramidPath(s.folder, id) }

func pyramidPath(folder, id string) string {
	return filepath.Join(folder, pyramidFolder, id+".view")
}

func (s *Store) savePyramid(id string, p *Pyramid) error { return savePyramid(s.folder, id, p) }

// savePyramid keeps the finest level beside the recording it belongs to.
func savePyramid(recordings, id string, p *Pyramid) error {
	info, err := os.Stat(filepath.Join(recordings, id))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(recordings, pyramidFolder), 0o700); err != nil {
		return err
	}
	path := pyramidPath(recordings, id)
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<16)
	_, _ = w.WriteString(pyramidMagic)
	head := []int64{info.Size(), info.ModTime().UnixNano(), p.Samples, int64(len(p.levels[0])), int64(len(p.levels[0][0]))}
	err = binary.Write(w, binary.LittleEndian, head)
	var b [8]byte
	for _, row := range p.levels[0] {
		for _, e := range row {
			binary.LittleEndian.PutUint32(b[:], uint32(e.low))
			binary.LittleEndian.PutUint32(b[4:], uint32(e.high))
			_, _ = w.Write(b[:])
		}
	}
	if flushErr := w.Flush(); err == nil {
		err = flushErr
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		os.Remove(path + ".new")
		return err
	}
	return os.Rename(path+".new", path)
}

var errStale = errors.New("the view belongs to another state of the recording")

// loadPyramid reads what savePyramid wrote, if it still belongs to the recording.
func (s *Store) loadPyramid(id string) (*Pyramid, error) {
	info, err := os.Stat(filepath.Join(s.folder, id))
	if err != nil {
		return nil, err
	}
	data, err := os.ReadFile(s.pyramidPath(id))
	if err != nil {
		return nil, err
	}
	headBytes := len(pyramidMagic) + 5*8
	if len(data) < headBytes || string(data[:len(pyramidMagic)]) != pyramidMagic {
		return nil, errStale
	}
	var head [5]int64
	for i := range head {
		head[i] = int64(binary.LittleEndian.Uint64(data[len(pyramidMagic)+8*i:]))
	}
	channels, entries := head[3], head[4]
	if head[0] != info.Size() || head[1] != info.ModTime().UnixNano() || channels < 1 || channels > 1000 || entries < 0 ||
		int64(len(data)-headBytes) != 8*channels*entries || entries != (head[2]+pyramidBase-1)/pyramidBase {
		return nil, errStale
	}
	b := newPyramidBuilder(int(channels))
	b.p.Samples = head[2]
	data = data[headBytes:]
	for c := range b.p.levels[0] {
		row := make([]extent, entries)
		for i := range row {
			row[i] = extent{int32(binary.LittleEndian.Uint32(data)), int32(binary.LittleEndian.Uint32(data[4:]))}
			data = data[8:]
		}
		b.p.levels[0][c] = row
	}
	if entries == 0 {
		return b.p, nil
	}
	return b.finish(), nil
}
