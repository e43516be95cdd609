package session

import (
	"slices"

	"pulsewright/dsp/beat"
	"pulsewright/dsp/meter"
	"pulsewright/server/channel"
)

// history keeps the newest samples of every series (channel × point) in chunks
// of equal length, so that it starts small, never copies what it holds, and
// forgets the oldest chunk when it is full. Chunks never straddle a place where
// the index jumps. Not safe for concurrent use: the session locks around it.
type history struct {
	series    int
	maxChunks int
	chunks    []*chunk
}

// chunkSamples is about 4 s at 1 kHz and 16 s at 250 Hz: a small share of ten
// minutes, and large enough that per-chunk work does not count.
const chunkSamples = 4096

type chunk struct {
	first int64
	n     int
	gap   bool      // a gap lies just before it
	data  []float32 // [series][chunkSamples]
}

// historyBytes bounds what a history takes.
const historyBytes = 96 << 20

func newHistory(series int, samples int64) *history {
	most := int64(historyBytes / (4 * chunkSamples * series))
	return &history{series: series, maxChunks: int(max(2, min(most, samples/chunkSamples+2)))}
}

// add appends n samples beginning at index first; value returns series s.
func (h *history) add(first int64, n int, gap bool, value func(s int) []float32) {
	for done := 0; done < n; {
		var last *chunk
		if len(h.chunks) > 0 {
			last = h.chunks[len(h.chunks)-1]
		}
		at := first + int64(done)
		if last == nil || gap && done == 0 || last.n == chunkSamples || last.first+int64(last.n) != at {
			last = h.next(at)
			last.gap = gap && done == 0
		}
		k := min(n-done, chunkSamples-last.n)
		for s := range h.series {
			copy(last.data[s*chunkSamples+last.n:], value(s)[done:done+k])
		}
		last.n += k
		done += k
	}
}

func (h *history) next(first int64) *chunk {
	var c *chunk
	if len(h.chunks) == h.maxChunks {
		c = h.chunks[0]
		h.chunks = append(h.chunks[:0], h.chunks[1:]...)
		c.n = 0
	} else {
		c = &chunk{data: make([]float32, h.series*chunkSamples)}
	}
	c.first = first
	h.chunks = append(h.chunks, c)
	return c
}

// span returns the first index held and the one after the last.
func (h *history) span() (from, to int64) {
	if len(h.chunks) == 0 {
		return 0, 0
	}
	last := h.chunks[len(h.chunks)-1]
	return h.chunks[0].first, last.first + int64(last.n)
}

// frames appends to dst one frame for each chunk that overlaps [from, to).
func (h *history) frames(dst [][]byte, from, to int64, head frameHeader) [][]byte {
	for {
		b, next, ok := h.frame(nil, from, to, head)
		if !ok {
			return dst
		}
		dst, from = append(dst, b), next
	}
}

// frame appends to b the frame of the first chunk that overlaps [from, to), if there is
// one, and tells where the next begins.
func (h *history) frame(b []byte, from, to int64, head frameHeader) (_ []byte, next int64, ok bool) {
	for _, c := range h.chunks {
		lo, hi := max(from, c.first), min(to, c.first+int64(c.n))
		if lo >= hi {
			continue
		}
		head.flags = flagHistory
		if c.gap && lo == c.first {
			head.flags |= flagGap
		}
		head.first, head.samples = lo, int(hi-lo)
		b = head.append(slices.Grow(b, frameHeaderBytes+4*h.series*head.samples))
		for s := range h.series {
			start := s*chunkSamples + int(lo-c.first)
			b = appendFloats(b, c.data[start:start+head.samples])
		}
		return b, hi, true
	}
	return b, from, false
}

// rescale brings all points of channel n into another scale; eras tell what held when they were made.
func (h *history) rescale(n int, c channel.Change, eras []era, rateHz float64) {
	offset := channel.NewOffset(eras[0].settings, rateHz)
	for _, k := range h.chunks {
		if k.gap {
			offset.Reset()
		}
		for at, end := k.first, k.first+int64(k.n); at < end; {
			for len(eras) > 1 && eras[1].from <= at {
				eras = eras[1:]
				offset.Set(eras[0].settings)
			}
			to := end
			if len(eras) > 1 {
				to = min(to, eras[1].from)
			}
			shares := offset.Next(int(to - at))
			for p := range points {
				start := (n*points+p)*chunkSamples + int(at-k.first)
				for i, v := range k.data[start : start+int(to-at)] {
					k.data[start+i] = float32(float64(v)*c.Factor + c.Shift*shares[p][i])
				}
			}
			at = to
		}
	}
}

// copySeries copies the newest samples of one series up to the newest gap into
// dst, from its end, and returns the part that was filled.
func (h *history) copySeries(dst []float64, series int) []float64 {
	at := len(dst)
	var next int64
	for i := len(h.chunks) - 1; i >= 0 && at > 0; i-- {
		c := h.chunks[i]
		if at < len(dst) && c.first+int64(c.n) != next {
			break
		}
		for j := c.n - 1; j >= 0 && at > 0; j-- {
			v := c.data[series*chunkSamples+j]
			if v != v {
				return dst[at:]
			}
			at--
			dst[at] = float64(v)
		}
		next = c.first
		if c.gap {
			break
		}
	}
	return dst[at:]
}

// shown is what a page that connects, or looks back, is given.
type shown struct {
	history *history
	beats   [][]beat.Beat
	reports []meter.Report
	hums    [][]humPoint // of the last HumSeconds, oldest first
	reading []beat.Reading
}
