package recording

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"pulsewright/acquire"
)

// recordFormat is how samples lie in a signal file of a record.
type recordFormat struct {
	bits         int64 // of a sample
	group, bytes int64 // so many samples lie together in so many bytes
}

// recordFormats are those that are read, by their number, as signal(5) of PhysioNet's WFDB
// Applications Guide describes them: 8-bit differences (8), 8-bit offset binary (80), 12-bit pairs
// (212), 10 bits three by three (310, 311), 16, 24 and 32 bits little-endian, 16 bits big-endian (61)
// and offset binary (160); FLAC (508, 516, 524) is unpacked into 80, 16 and 24 first. 0 stores nothing.
var recordFormats = map[int]recordFormat{0: {16, 1, 2}, 8: {8, 1, 1}, 80: {8, 1, 1}, 212: {12, 2, 3}, 310: {10, 3, 4}, 311: {10, 3, 4}, 16: {16, 1, 2}, 61: {16, 1, 2}, 160: {16, 1, 2}, 24: {24, 1, 3}, 32: {32, 1, 4}}

// unread says why a format is not read.
func unread(format string) string {
	return fmt.Sprintf("signal format %q: 0, 8, 16, 24, 32, 61, 80, 160, 212, 310, 311, 508, 516 and 524 are read", shorten(format))
}

// rangeBits are those of the values, of which differences tell nothing.
func (s *recordSignal) rangeBits() int64 {
	most := recordFormats[s.format].bits
	if s.format == 8 {
		most = 16
	}
	if bits := int64(s.bits); bits > 0 && bits <= most {
		return bits
	}
	return most
}

// samples is how many a file of so many bytes holds.
func (f recordFormat) samples(bytes int64) int64 {
	rest := bytes % f.bytes * 8 / f.bits
	if f.group == 3 { // 10 bits in pairs of bytes at least
		rest = min(rest, bytes%f.bytes/2)
	}
	return bytes/f.bytes*f.group + rest
}

// load reads samples first … first+n−1 of the file into the buffer, from the beginning of
// first's group on.
func (g *recordGroup) load(first, n int64) error {
	f := recordFormats[g.format]
	lo, hi := first/f.group*f.bytes, (first+n+f.group-1)/f.group*f.bytes
	size := int(hi - lo)
	if cap(g.buffer) < size {
		g.buffer = make([]byte, size)
	}
	g.buffer = g.buffer[:size]
	got, err := g.in.ReadAt(g.buffer, g.offset+lo)
	if got > size-int(f.bytes) { // the last group may be cut after its last sample
		clear(g.buffer[got:])
		return nil
	}
	if err == nil || err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return err
}

// sample decodes sample k counted from first; the lowest value of a format
// means missing.
func (g *recordGroup) sample(first, k int64) int32 {
	b := g.buffer
	lowest, v := int32(0), int32(0)
	switch g.format {
	case 212:
		pair := (first+k)/2 - first/2
		b = b[pair*3:]
		if (first+k)%2 == 0 {
			v = int32(uint32(b[0])<<20|uint32(b[1]&15)<<28) >> 20
		} else {
			v = int32(uint32(b[2])<<20|uint32(b[1]>>4)<<28) >> 20
		}
		lowest = -1 << 11
	case 310, 311:
		b = b[((first+k)/3-first/3)*4:]
		v, lowest = tenBits(g.format, binary.LittleEndian.Uint32(b), (first+k)%3), -1<<9
	case 80:
		v, lowest = int32(b[k])-128, -128
	case 16:
		v, lowest = int32(int16(binary.LittleEndian.Uint16(b[2*k:]))), -1<<15
	case 61:
		v, lowest = int32(int16(binary.BigEndian.Uint16(b[2*k:]))), -1<<15
	case 160:
		v, lowest = int32(binary.LittleEndian.Uint16(b[2*k:]))-1<<15, -1<<15
	case 24:
		v, lowest = int32(uint32(b[3*k])<<8|uint32(b[3*k+1])<<16|uint32(b[3*k+2])<<24)>>8, -1<<23
	case 32:
		v, lowest = int32(binary.LittleEndian.Uint32(b[4*k:])), math.MinInt32
	}
	if v == lowest {
		return acquire.MissingCount
	}
	return v
}

// tenBits is sample k of the three in a word. In format 310 the first two lie in the lower 11 bits
// of either half, less the lowest, and the third in the upper 5 of both; in 311 they follow each other.
func tenBits(format int, word uint32, k int64) int32 {
	var v uint32
	switch {
	case format == 311:
		v = word >> (10 * k)
	case k < 2:
		v = word >> (16*k + 1)
	default:
		v = word>>11&31 | word>>27<<5
	}
	return int32(v<<22) >> 22
}

// sumEvery frames of differences a sum is kept.
const sumEvery = 4096

// sum keeps the sums of signals of differences, from the first values that the header tells.
func (st *recordStore) sum() error {
	for i := range st.signals {
		s := &st.signals[i]
		if s.format != 8 {
			continue
		}
		g := st.files[s.group]
		frames := recordFormats[8].samples(max(g.in.size-g.offset, 0)) / int64(g.frame)
		v := int32(s.first)
		for at := int64(0); at < frames; at += sumEvery {
			s.sums = append(s.sums, v)
			k := min(sumEvery, frames-at)
			if err := g.load(at*int64(g.frame), k*int64(g.frame)); err != nil {
				return err
			}
			for j := range k {
				for sub := range s.perFrame {
					v += int32(int8(g.buffer[int(j)*g.frame+s.place+sub]))
				}
			}
		}
	}
	return nil
}

// values of a signal of differences in frames from … from+k−1; the first sample is the header's first
// value and its first difference.
func (g *recordGroup) values(s *recordSignal, from, k int64) ([]int32, error) {
	begin := from / sumEvery * sumEvery
	if err := g.load(begin*int64(g.frame), (from+k-begin)*int64(g.frame)); err != nil {
		return nil, err
	}
	v, list := s.sums[begin/sumEvery], make([]int32, 0, int(k)*s.perFrame)
	for j := range from + k - begin {
		for sub := range s.perFrame {
			v += int32(int8(g.buffer[int(j)*g.frame+s.place+sub]))
			if begin+j >= from {
				list = append(list, v)
			}
		}
	}
	return list, nil
}
