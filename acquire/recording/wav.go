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

// wavChunks is what the chunks of a file say.
type wavChunks struct {
	tag            uint16 // 1 whole numbers, 3 floats
	channels, rate int
	bits, valid    int   // of a sample's container, and of those in use
	long           int64 // data size of a ds64 chunk, −1 without one
	data, size     int64 // of the samples: first byte and bytes, as far as they are there
	found          bool  // there is a data chunk
	settings       *settings
}

// read goes from chunk to chunk.
func (w *wavChunks) read(in *input, f *File) error {
	w.long = -1
	for at := int64(12); at+8 <= in.size; {
		b, err := in.bytes(at, 64)
		if err != nil {
			return fmt.Errorf("recording: %s: byte %d: %w", f.path, at, err)
		}
		id, size := string(b[:4]), int64(binary.LittleEndian.Uint32(b[4:]))
		b = b[8:]
		switch id {
		case "ds64":
			if len(b) >= 16 && size >= 16 {
				f.format = "RF64"
				w.long = int64(binary.LittleEndian.Uint64(b[8:]) & math.MaxInt64)
			}
		case "fmt ":
			if size < 16 || len(b) < 16 {
				return &FormatError{Path: f.path, Offset: at, Reason: fmt.Sprintf("format chunk of %d bytes; 16 or more belong there", size)}
			}
			w.sampleFormat(b, size)
		case "LIST":
			if size > 4 && size < 1<<20 {
				list, err := in.bytes(at+8, int(size))
				if err == nil && len(list) >= 4 && string(list[:4]) == "INFO" {
					w.settings = wavSettings(list[4:], w.channels)
				}
			}
		case "data":
			w.data, w.found = at+8, true
			if size == math.MaxUint32 && w.long >= 0 {
				size = w.long
			}
			if size == math.MaxUint32 || size == 0 && w.data < in.size {
				f.remark("the header does not say how long it is; read to the end")
				size = in.size - w.data
			}
			if size > in.size-w.data {
				f.remark("the header says %d bytes of samples, the file holds %d: its end is missing", size, in.size-w.data)
				size = in.size - w.data
			}
			w.size = size
		}
		if size > in.size {
			break
		}
		at += 8 + size + size&1
	}
	return nil
}

// sampleFormat reads a format chunk of so many bytes, 16 or more of which are in b.
func (w *wavChunks) sampleFormat(b []byte, size int64) {
	w.tag = binary.LittleEndian.Uint16(b)
	w.channels = int(binary.LittleEndian.Uint16(b[2:]))
	w.rate = int(binary.LittleEndian.Uint32(b[4:]))
	w.bits = int(binary.LittleEndian.Uint16(b[14:]))
	w.valid = w.bits
	if w.tag == 0xfffe && size >= 40 && len(b) >= 40 {
		if v := int(binary.LittleEndian.Uint16(b[18:])); v > 0 && v <= w.bits {
			w.valid = v
		}
		w.tag = binary.LittleEndian.Uint16(b[24:])
	}
}

func openWAV(in *input, path string) (*File, error) {
	bad := func(format string, a ...any) (*File, error) {
		return nil, &FormatError{Path: path, Offset: 12, Reason: fmt.Sprintf(format, a...)}
	}
	f := &File{format: "WAV", path: path}
	var w wavChunks
	if err := w.read(in, f); err != nil {
		return nil, err
	}
	switch {
	case w.channels == 0 || w.rate == 0:
		return bad("no format chunk with channels and a sample rate")
	case w.channels > maxChannels:
		return bad("%d channels; up to %d can be read", w.channels, maxChannels)
	case !w.found:
		return bad("no data chunk, so no samples")
	}
	st := &wavStore{in: in, data: w.data, channels: w.channels, bytes: (w.bits + 7) / 8, float: w.tag == 3}
	switch {
	case w.tag == 1 && w.bits >= 1 && w.bits <= 32:
		st.shift = uint(8*st.bytes - w.valid)
	case st.float && (w.bits == 32 || w.bits == 64):
	default:
		return bad("samples of format %d with %d bits; read are PCM of 8 to 32 bits and floats of 32 or 64; convert it with a general audio tool", w.tag, w.bits)
	}
	st.frames = w.size / int64(st.bytes*st.channels)
	f.store, f.length = st, st.frames
	f.info.ClaimedRateHz = float64(w.rate)
	for i := range st.channels {
		c := acquire.Channel{Label: fmt.Sprintf("channel %d", i+1)}
		if !st.float {
			c.MinCount, c.MaxCount = clampCount(-1<<(w.valid-1)), int32(int64(1)<<(w.valid-1)-1)
		} else {
			c.MinCount, c.MaxCount = -wavFloatCounts, wavFloatCounts
		}
		f.info.Channels = append(f.info.Channels, c)
	}
	if st.float {
		f.remark("floating-point samples: 1.0 is count %d", wavFloatCounts)
	}
	// Settings that stand before the format chunk are of another number of channels.
	if m := w.settings; m != nil && len(m.Channels) == st.channels && !st.float {
		f.takeSettings(m, w.rate)
	}
	return f, nil
}

// takeSettings makes a WAV file of ours what it was: channels, rate, holes.
func (f *File) takeSettings(m *settings, wholeRate int) {
	f.meta = m
	for i, c := range m.Channels {
		f.info.Channels[i] = c.channel()
	}
	f.info.Started, f.info.Invented = m.Started, m.Invented
	if m.RateHz > 0 && math.Round(m.RateHz) == float64(wholeRate) {
		f.info.ClaimedRateHz = m.RateHz
	}
	for _, h := range m.Holes {
		if h[0] >= 0 && h[1] > 0 && h[0] < f.length && h[1] <= f.length {
			f.holes = append(f.holes, hole{h[0], h[1], int(h[2])})
		}
	}
	f.holesKnown = true
	f.takeEvents(m)
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
