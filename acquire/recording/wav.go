package recording

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"pulsewright/acquire"
)

// wavFloatCounts is how many counts 1.0 in a WAV file of floats becomes: a
// 24-bit sample, of which a float32 holds all digits.
const wavFloatCounts = 1 << 23

// wavStore reads frames on demand.
type wavStore struct {
	in       *input
	data     int64 // byte offset of the first frame
	frames   int64
	channels int
	bytes    int // per sample
	float    bool
	shift    uint // of samples in wider containers
	buffer   []byte
}

func looksWAV(head []byte) bool {
	return len(head) >= 12 && string(head[8:12]) == "WAVE" && (string(head[:4]) == "RIFF" || string(head[:4]) == "RF64" || string(head[:4]) == "BW64")
}

func openWAV(in *input, path string) (*File, error) {
	bad := func(offset int64, format string, a ...any) (*File, error) {
		return nil, &FormatError{Path: path, Offset: offset, Reason: fmt.Sprintf(format, a...)}
	}
	f := &File{format: "WAV", path: path}
	st := &wavStore{in: in}
	var long int64 = -1 // data size of a ds64 chunk
	var rate, bits, valid int
	var tag uint16
	var meta *settings
	found := false
	for at := int64(12); at+8 <= in.size; {
		b, err := in.bytes(at, 64)
		if err != nil {
			return nil, fmt.Errorf("recording: %s: byte %d: %w", path, at, err)
		}
		id, size := string(b[:4]), int64(binary.LittleEndian.Uint32(b[4:]))
		b = b[8:]
		switch id {
		case "ds64":
			if len(b) >= 16 && size >= 16 {
				f.format = "RF64"
				long = int64(binary.LittleEndian.Uint64(b[8:]) & math.MaxInt64)
			}
		case "fmt ":
			if size < 16 || len(b) < 16 {
				return bad(at, "format chunk of %d bytes; 16 or more belong there", size)
			}
			tag = binary.LittleEndian.Uint16(b)
			st.channels = int(binary.LittleEndian.Uint16(b[2:]))
			rate = int(binary.LittleEndian.Uint32(b[4:]))
			bits = int(binary.LittleEndian.Uint16(b[14:]))
			valid = bits
			if tag == 0xfffe && size >= 40 && len(b) >= 40 {
				if v := int(binary.LittleEndian.Uint16(b[18:])); v > 0 && v <= bits {
					valid = v
				}
				tag = binary.LittleEndian.Uint16(b[24:])
			}
		case "LIST":
			if size > 4 && size < 1<<20 {
				list, err := in.bytes(at+8, int(size))
				if err == nil && len(list) >= 4 && string(list[:4]) == "INFO" {
					meta = wavSettings(list[4:], st.channels)
				}
			}
		case "data":
			st.data = at + 8
			if size == math.MaxUint32 && long >= 0 {
				size = long
			}
			if size == math.MaxUint32 || size == 0 && st.data < in.size {
				f.remark("the header does not say how long it is; read to the end")
				size = in.size - st.data
			}
			if size > in.size-st.data {
				f.remark("the header says %d bytes of samples, the file holds %d: its end is missing", size, in.size-st.data)
				size = in.size - st.data
			}
			st.frames = size // bytes for now
			found = true
		}
		if size > in.size {
			break
		}
		at += 8 + size + size&1
	}
	if st.channels == 0 || rate == 0 {
		return bad(12, "no format chunk with channels and a sample rate")
	}
	if st.channels > maxChannels {
		return bad(12, "%d channels; up to %d can be read", st.channels, maxChannels)
	}
	if !found {
		return bad(12, "no data chunk, so no samples")
	}
	st.float = tag == 3
	st.bytes = (bits + 7) / 8
	switch {
	case tag == 1 && bits >= 1 && bits <= 32:
		st.shift = uint(8*st.bytes - valid)
	case tag == 3 && (bits == 32 || bits == 64):
	default:
		return bad(12, "samples of format %d with %d bits; read are PCM of 8 to 32 bits and floats of 32 or 64; convert it with a general audio tool", tag, bits)
	}
	f.length = st.frames / int64(st.bytes*st.channels)
	st.frames = f.length
	f.info.ClaimedRateHz = float64(rate)
	for i := range st.channels {
		c := acquire.Channel{Label: fmt.Sprintf("channel %d", i+1)}
		if !st.float {
			c.MinCount, c.MaxCount = clampCount(-1<<(valid-1)), int32(int64(1)<<(valid-1)-1)
		} else {
			c.MinCount, c.MaxCount = -wavFloatCounts, wavFloatCounts
		}
		f.info.Channels = append(f.info.Channels, c)
	}
	if st.float {
		f.remark("floating-point samples: 1.0 is count %d", wavFloatCounts)
	}
	// Settings may stand before the format chunk or after the data: tried anew.
	if meta != nil && len(meta.Channels) == st.channels && !st.float {
		f.meta = meta
		for i, c := range meta.Channels {
			f.info.Channels[i] = c.channel()
		}
		f.info.Started = meta.Started
		if meta.RateHz > 0 && math.Round(meta.RateHz) == float64(rate) {
			f.info.ClaimedRateHz = meta.RateHz
		}
		for _, h := range meta.Holes {
			if h[0] >= 0 && h[1] > 0 && h[0] < f.length && h[1] <= f.length {
				f.holes = append(f.holes, hole{h[0], h[1], int(h[2])})
			}
		}
		f.holesKnown = true
	}
	f.store = st
	return f, nil
}

// wavSettings finds our settings in the comment of an INFO list.
func wavSettings(list []byte, channels int) *settings {
	for len(list) >= 8 {
		size := int(binary.LittleEndian.Uint32(list[4:]))
		if size > len(list)-8 || size < 0 {
			return nil
		}
		if string(list[:4]) == "ICMT" {
			text := strings.TrimRight(string(list[8:8+size]), "\x00")
			if rest, ok := strings.CutPrefix(text, textSettings); ok {
				return parseSettings(rest, channels)
			}
		}
		list = list[min(8+size+size&1, len(list)):]
	}
	return nil
}

func (s *wavStore) read(counts [][]int32, from int64) (int, error) {
	want := len(counts[0])
	var end error
	if k := s.frames - from; int64(want) > k {
		want, end = int(max(k, 0)), io.EOF
	}
	frame := s.bytes * s.channels
	batch := max(readBytes/frame, 1)
	for done := 0; done < want; {
		n := min(batch, want-done)
		if cap(s.buffer) < n*frame {
			s.buffer = make([]byte, n*frame)
		}
		b := s.buffer[:n*frame]
		if got, err := s.in.ReadAt(b, s.data+(from+int64(done))*int64(frame)); got < len(b) {
			if err == nil || errors.Is(err, io.EOF) {
				err = io.ErrUnexpectedEOF
			}
			return done, err
		}
		for c, row := range counts {
			if row != nil {
				s.decode(row[done:done+n], b[c*s.bytes:], frame)
			}
		}
		done += n
	}
	return want, end
}

func (s *wavStore) decode(dst []int32, b []byte, frame int) {
	for i := range dst {
		p := b[i*frame:]
		switch {
		case s.float:
			x := 0.0
			if s.bytes == 4 {
				x = float64(math.Float32frombits(binary.LittleEndian.Uint32(p)))
			} else {
				x = math.Float64frombits(binary.LittleEndian.Uint64(p))
			}
			x = math.RoundToEven(x * wavFloatCounts)
			if !(math.Abs(x) <= math.MaxInt32) { // NaN too
				dst[i] = acquire.MissingCount
				continue
			}
			dst[i] = int32(x)
		case s.bytes == 1:
			dst[i] = (int32(p[0]) - 128) >> s.shift
		case s.bytes == 2:
			dst[i] = int32(int16(binary.LittleEndian.Uint16(p))) >> s.shift
		case s.bytes == 3:
			dst[i] = int32(uint32(p[0])<<8|uint32(p[1])<<16|uint32(p[2])<<24) >> 8 >> s.shift
		default:
			// The lowest 32-bit value stands for missing samples here.
			dst[i] = max(int32(binary.LittleEndian.Uint32(p))>>s.shift, -math.MaxInt32)
		}
	}
}

func (s *wavStore) Close() error { return s.in.Close() }
