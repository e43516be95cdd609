package recording

import (
	"fmt"
	"io"
	"math"

	"github.com/mewkiz/flac"
)

// packedFormats are FLAC streams, and the formats into which they are unpacked: 8, 16 and 24 bits.
var packedFormats = map[int]int{508: 80, 516: 16, 524: 24}

// unpackFLAC puts the samples of a signal file of FLAC in the file's place, laid out frame by frame in
// the plain format; all its signals have the same number of samples in a frame.
func (g *recordGroup) unpackFLAC() error {
	stream, err := flac.New(io.NewSectionReader(g.in, 0, g.in.size))
	if err != nil {
		return &FormatError{Path: g.name, Offset: 0, Reason: "no FLAC stream: " + err.Error()}
	}
	if n := int(stream.Info.NChannels); n != g.signals {
		return &FormatError{Path: g.name, Offset: -1, Reason: fmt.Sprintf("%d FLAC channels; the header tells %d signals", n, g.signals)}
	}
	r := &flacReader{stream: stream, format: g.format, perFrame: g.frame / g.signals, path: g.name}
	// Constant samples take next to nothing: the bound of packed text does not fit.
	plain, err := hold(r, g.name, mostUnpacked, "FLAC")
	if err != nil {
		return err
	}
	g.in.Close()
	g.in, g.offset = plain, 0
	return nil
}

// flacReader reads a stream's samples as bytes of the plain format.
type flacReader struct {
	stream   *flac.Stream
	format   int
	perFrame int
	path     string
	waiting  [][]int32 // by signal, until a frame is whole
	bytes    []byte
}

func (r *flacReader) Read(b []byte) (int, error) {
	for len(r.bytes) == 0 {
		if err := r.next(); err != nil {
			return 0, err
		}
	}
	n := copy(b, r.bytes)
	r.bytes = r.bytes[n:]
	return n, nil
}

// next unpacks one block.
func (r *flacReader) next() (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = &FormatError{Path: r.path, Offset: -1, Reason: fmt.Sprintf("FLAC: %v", v)}
		}
	}()
	block, err := r.stream.ParseNext()
	if err != nil {
		return err // io.EOF, or what is cut
	}
	if r.waiting == nil {
		r.waiting = make([][]int32, len(block.Subframes))
	}
	if len(block.Subframes) != len(r.waiting) {
		return &FormatError{Path: r.path, Offset: -1, Reason: fmt.Sprintf("FLAC: a block of %d channels among those of %d", len(block.Subframes), len(r.waiting))}
	}
	whole := math.MaxInt
	for s, sub := range block.Subframes {
		r.waiting[s] = append(r.waiting[s], sub.Samples...)
		whole = min(whole, len(r.waiting[s])/r.perFrame)
	}
	r.bytes = r.bytes[:0]
	for f := range whole {
		for _, list := range r.waiting {
			for _, v := range list[f*r.perFrame : (f+1)*r.perFrame] {
				r.put(v)
			}
		}
	}
	for s, list := range r.waiting {
		r.waiting[s] = list[:copy(list, list[whole*r.perFrame:])]
	}
	return nil
}

func (r *flacReader) put(v int32) {
	switch r.format {
	case 80:
		r.bytes = append(r.bytes, byte(v+128))
	case 16:
		r.bytes = append(r.bytes, byte(v), byte(v>>8))
	case 24:
		r.bytes = append(r.bytes, byte(v), byte(v>>8), byte(v>>16))
	}
}
