package serialport

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strconv"
	"unicode/utf8"

	"pulsewright/acquire"
)

// Frame types, the low four bits of a body's first byte; see FRAMES.md.
const (
	frameVersion = 1 << 4
	frameSamples = frameVersion | 1
	frameInfo    = frameVersion | 2
	frameText    = frameVersion | 3

	maxFrame         = 1024 // body and CRC
	maxFrameChannels = 16
	maxFrameGap      = 1 << 24 // samples; a larger step of the sequence is a restart
	changeFrames     = 3       // frames in a row with another channel count
)

// crc16 is CRC-16/CCITT-FALSE: polynomial 0x1021, start 0xFFFF, not reflected.
func crc16(b []byte) uint16 {
	crc := uint16(0xffff)
	for _, c := range b {
		crc = crc<<8 ^ crcTable[byte(crc>>8)^c]
	}
	return crc
}

var crcTable = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i) << 8
		for range 8 {
			if c&0x8000 != 0 {
				c = c<<1 ^ 0x1021
			} else {
				c <<= 1
			}
		}
		t[i] = c
	}
	return t
}()

// appendCOBS encodes src (Cheshire & Baker 1999) and appends it, without the
// delimiter.
func appendCOBS(dst, src []byte) []byte {
	at := len(dst) // place of the current run's code
	dst = append(dst, 1)
	for i, c := range src {
		if c != 0 {
			dst = append(dst, c)
			dst[at]++
			if dst[at] != 0xff {
				continue
			}
			if i == len(src)-1 {
				break
			}
		}
		at = len(dst)
		dst = append(dst, 1)
	}
	return dst
}

var errCOBS = errors.New("not COBS")

// decodeCOBS decodes b in place.
func decodeCOBS(b []byte) ([]byte, error) {
	out := b[:0]
	for len(b) > 0 {
		code := int(b[0])
		if code == 0 || code > len(b) {
			return nil, errCOBS
		}
		run := b[1:code]
		for _, c := range run {
			if c == 0 {
				return nil, errCOBS
			}
		}
		rest := b[code:]
		out = append(out, run...)
		if code < 0xff && len(rest) > 0 {
			out = append(out, 0)
		}
		b = rest
	}
	return out, nil
}

// FrameEncoder writes frames as a board does. The zero value is ready.
type FrameEncoder struct {
	body []byte
}

// Samples appends a frame of samples to dst: counts[channel][sample], signed, of
// 2 or 3 bytes each; sequence is the number of samples before the first. It
// panics when the shape or a count does not fit FRAMES.md.
func (e *FrameEncoder) Samples(dst []byte, sequence uint32, bytesPerSample int, counts [][]int32) []byte {
	n := len(counts[0])
	if len(counts) > maxFrameChannels || n < 1 || n > 255 || bytesPerSample != 2 && bytesPerSample != 3 ||
		10+len(counts)*n*bytesPerSample > maxFrame {
		panic(fmt.Sprintf("serialport: no frame holds %d channels × %d samples of %d bytes", len(counts), n, bytesPerSample))
	}
	e.body = append(e.body[:0], frameSamples, byte(len(counts)), byte(bytesPerSample), byte(n))
	e.body = binary.LittleEndian.AppendUint32(e.body, sequence)
	limit := int32(1) << (8*bytesPerSample - 1)
	for i := range n {
		for _, c := range counts {
			v := c[i]
			if v < -limit || v >= limit {
				panic(fmt.Sprintf("serialport: count %d does not fit %d bytes", v, bytesPerSample))
			}
			e.body = append(e.body, byte(v), byte(v>>8))
			if bytesPerSample == 3 {
				e.body = append(e.body, byte(v>>16))
			}
		}
	}
	return e.finish(dst)
}

// Info appends an info frame to dst.
func (e *FrameEncoder) Info(dst []byte, rateHz float64, channels []acquire.Channel) []byte {
	e.body = append(e.body[:0], frameInfo, byte(len(channels)))
	e.body = binary.LittleEndian.AppendUint32(e.body, uint32(math.Round(rateHz*1000)))
	for _, c := range channels {
		kind := byte(0)
		for i, k := range frameKinds {
			if k == c.Kind {
				kind = byte(i)
			}
		}
		e.body = append(e.body, kind)
		e.body = binary.LittleEndian.AppendUint32(e.body, math.Float32bits(float32(c.VoltsPerCount)))
		e.body = binary.LittleEndian.AppendUint32(e.body, math.Float32bits(float32(c.OffsetVolts)))
		e.body = binary.LittleEndian.AppendUint32(e.body, uint32(c.MinCount))
		e.body = binary.LittleEndian.AppendUint32(e.body, uint32(c.MaxCount))
		e.body = append(append(e.body, byte(len(c.Label))), c.Label...)
		e.body = append(append(e.body, byte(len(c.Unit))), c.Unit...)
	}
	return e.finish(dst)
}

// Text appends a text frame to dst.
func (e *FrameEncoder) Text(dst []byte, text string) []byte {
	e.body = append(append(e.body[:0], frameText), text...)
	return e.finish(dst)
}

func (e *FrameEncoder) finish(dst []byte) []byte {
	e.body = binary.LittleEndian.AppendUint16(e.body, crc16(e.body))
	return append(appendCOBS(dst, e.body), 0)
}

var frameKinds = [...]string{acquire.KindUnknown, acquire.KindPulse, acquire.KindECG, acquire.KindOther}

// FrameDecoder reads samples from frames; see FRAMES.md. Like LineDecoder it
// learns until Settle.
type FrameDecoder struct {
	queue
	stats

	encoded  []byte // of the frame under way
	first    bool   // nothing was delimited yet
	overlong bool

	settled  bool
	kept     []byte // bodies while learning, each after its length (uint16)
	channels int
	info     []byte // body of the newest info frame
	format   Format

	goodBytes, badBytes int64

	started  bool
	expected uint32
	odd      int
	row      []int32

	// The samples frame under way, when a sample of it had to wait.
	body   []byte
	bodyAt int
}

// NewFrameDecoder returns a decoder for a stream that may begin within a frame.
func NewFrameDecoder() *FrameDecoder {
	return &FrameDecoder{first: true, encoded: make([]byte, 0, maxFrame+8), body: make([]byte, 0, maxFrame)}
}

// StartOfLine says that the stream's next byte begins a frame.
func (d *FrameDecoder) StartOfLine() {
	if len(d.encoded) == 0 {
		d.first = false
	}
}

// Feed reads bytes as LineDecoder.Feed does.
func (d *FrameDecoder) Feed(p []byte) (int, error) {
	if d.settled {
		for len(d.kept) > 0 {
			if d.held {
				return 0, nil
			}
			if !d.unpack() {
				continue
			}
			n := 2 + int(binary.LittleEndian.Uint16(d.kept))
			body := d.kept[2:n]
			d.kept = d.kept[n:]
			if err := d.samples(body); err != nil {
				return 0, err
			}
		}
		if !d.held {
			d.unpack()
		}
	}
	for i, c := range p {
		if d.held {
			return i, nil
		}
		if c != 0 {
			if len(d.encoded) >= maxFrame+maxFrame/254+1 {
				if !d.overlong && !d.first {
					d.bad(d.encoded)
				}
				d.overlong = true
				d.badBytes++
				continue
			}
			d.encoded = append(d.encoded, c)
			continue
		}
		first, overlong := d.first, d.overlong
		d.first, d.overlong = false, false
		if overlong {
			d.badBytes += int64(len(d.encoded))
		} else if len(d.encoded) > 0 {
			if err := d.frame(d.encoded, first); err != nil {
				return i + 1, err
			}
		}
		d.encoded = d.encoded[:0]
	}
	return len(p), nil
}

// frame reads one encoded frame; maybeTorn forgives a first one.
func (d *FrameDecoder) frame(encoded []byte, maybeTorn bool) error {
	size := int64(len(encoded))
	// Decoding in place spoils the excerpt of a bad frame, which is binary anyway.
	b, err := decodeCOBS(encoded)
	if err == nil && (len(b) < 3 || len(b) > maxFrame) {
		err = errCOBS
	}
	if err == nil && crc16(b[:len(b)-2]) != binary.LittleEndian.Uint16(b[len(b)-2:]) {
		err = errors.New("CRC")
	}
	if err != nil {
		if !maybeTorn {
			d.badBytes += size
			d.bad(encoded)
		}
		return nil
	}
	b = b[:len(b)-2]
	switch b[0] {
	case frameSamples:
		if len(b) < 8 {
			break
		}
		c, w, n := int(b[1]), int(b[2]), int(b[3])
		if c < 1 || c > maxFrameChannels || w != 2 && w != 3 || n < 1 || len(b) != 8+c*w*n {
			break
		}
		d.goodBytes += size
		if !d.settled {
			if len(d.kept) > 1<<22 {
				return fmt.Errorf("serialport: more than %d bytes of frames before the format was settled", 1<<22)
			}
			d.channels = c
			d.kept = binary.LittleEndian.AppendUint16(d.kept, uint16(len(b)))
			d.kept = append(d.kept, b...)
			d.read++
			return nil
		}
		d.read++
		return d.samples(b)
	case frameInfo:
		if d.settled && bytes.Equal(b, d.info) {
			d.goodBytes += size
			return nil
		}
		f, err := parseInfo(b)
		if err != nil {
			break
		}
		d.goodBytes += size
		if d.settled {
			if d.info == nil && len(f.Channels) == len(d.format.Channels) {
				return fmt.Errorf("the board now describes its channels: %w", acquire.ErrChanged)
			}
			return fmt.Errorf("the board now describes %d channels at %g Hz: %w", len(f.Channels), f.ClaimedRateHz, acquire.ErrChanged)
		}
		d.info = append(d.info[:0], b...)
		return nil
	case frameText:
		d.goodBytes += size
		d.say(b[1:])
		return nil
	default:
		return nil // a later version's
	}
	d.badBytes += size
	d.bad(b)
	return nil
}

func parseInfo(b []byte) (Format, error) {
	bad := errors.New("malformed info frame")
	if len(b) < 6 || b[1] < 1 || b[1] > maxFrameChannels {
		return Format{}, bad
	}
	f := Format{ClaimedRateHz: float64(binary.LittleEndian.Uint32(b[2:])) / 1000, Counter: true}
	if f.ClaimedRateHz > maxRateHz {
		return Format{}, bad
	}
	used := map[string]bool{}
	rest := b[6:]
	for i := range int(b[1]) {
		if len(rest) < 18 || int(rest[0]) >= len(frameKinds) {
			return Format{}, bad
		}
		kind := frameKinds[rest[0]]
		scale, ok1 := shortest(binary.LittleEndian.Uint32(rest[1:]))
		offset, ok2 := shortest(binary.LittleEndian.Uint32(rest[5:]))
		low, high := int32(binary.LittleEndian.Uint32(rest[9:])), int32(binary.LittleEndian.Uint32(rest[13:]))
		name, rest2, ok3 := pascal(rest[17:])
		unit, rest3, ok4 := pascal(rest2)
		if !ok1 || !ok2 || !ok3 || !ok4 || name == "" || low > high {
			return Format{}, bad
		}
		rest = rest3
		c := newChannel(name, "", 0, i, used)
		if kind != acquire.KindUnknown {
			c.Kind = kind
		}
		c.MinCount, c.MaxCount = low, high
		if scale != 0 {
			c.VoltsPerCount, c.OffsetVolts, c.Unit = scale, offset, unit
		}
		f.Channels = append(f.Channels, c)
	}
	if len(rest) != 0 {
		return Format{}, bad
	}
	return f, nil
}

// shortest reads a single as the shortest decimal that gives it, so that 0.001
// is 0.001 in double precision too.
func shortest(bits uint32) (float64, bool) {
	x := float64(math.Float32frombits(bits))
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, false
	}
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', -1, 32), 64)
	return y, err == nil
}

func pascal(b []byte) (s string, rest []byte, ok bool) {
	if len(b) < 1 || int(b[0]) > maxNameBytes || len(b) < 1+int(b[0]) || !utf8.Valid(b[1:1+int(b[0])]) {
		return "", nil, false
	}
	n := 1 + int(b[0])
	return printable(b[1:n], maxTextBytes), b[n:], true
}

// Rows returns how many frames of samples were read while learning and how
// readable the stream is, from 0 to 1.
func (d *FrameDecoder) Rows() (frames int, readable float64) {
	all := d.goodBytes + d.badBytes + int64(len(d.encoded))
	if d.overlong {
		all += maxFrame
	}
	if all == 0 {
		return 0, 0
	}
	return int(d.read), float64(d.goodBytes) / float64(all)
}

// described reports whether an info frame was seen.
func (d *FrameDecoder) described() bool { return d.info != nil }

// Settle fixes the format: the newest info frame's when it fits the samples.
func (d *FrameDecoder) Settle() (Format, error) {
	if d.settled {
		return d.format, nil
	}
	if d.channels == 0 {
		return Format{}, errors.New("no readable frame yet")
	}
	f := Format{Counter: true}
	if d.info != nil {
		f, _ = parseInfo(d.info)
	}
	if len(f.Channels) != d.channels {
		if d.info != nil {
			return Format{}, fmt.Errorf("the board describes %d channels but sends %d", len(f.Channels), d.channels)
		}
		used := map[string]bool{}
		for i := range d.channels {
			f.Channels = append(f.Channels, newChannel("", "", 0, i, used))
		}
	}
	d.format, d.settled = f, true
	d.queue.init(d.channels, false)
	d.row = make([]int32, d.channels)
	return f, nil
}

// samples takes a samples frame apart after checking its sequence.
func (d *FrameDecoder) samples(b []byte) error {
	c, n := int(b[1]), int(b[3])
	if c != d.channels {
		d.bad(b)
		if d.odd++; d.odd >= changeFrames {
			return fmt.Errorf("the board now sends %d channels instead of %d: %w", c, d.channels, acquire.ErrChanged)
		}
		return nil
	}
	d.odd = 0
	sequence := binary.LittleEndian.Uint32(b[4:])
	var lost int64
	jump := false
	if d.started && sequence != d.expected {
		if gap := sequence - d.expected; gap < maxFrameGap {
			lost = int64(gap)
		} else {
			jump = true
			d.say([]byte("(the board started anew)"))
		}
	}
	d.started, d.expected = true, sequence+uint32(n)
	d.lostTotal += lost
	d.body = append(d.body[:0], b...)
	d.bodyAt = 8
	d.sampleAt(lost, jump)
	d.unpack()
	return nil
}

// sampleAt pushes the next sample of the body.
func (d *FrameDecoder) sampleAt(lost int64, jump bool) {
	b := d.body[d.bodyAt:]
	for i := range d.row {
		if d.body[2] == 2 {
			d.row[i] = int32(int16(binary.LittleEndian.Uint16(b)))
			b = b[2:]
		} else {
			d.row[i] = int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24) >> 8
			b = b[3:]
		}
	}
	d.bodyAt = len(d.body) - len(b)
	d.push(d.row, 0, lost, jump)
}

// unpack pushes the body's remaining samples; false when one has to wait.
func (d *FrameDecoder) unpack() bool {
	for d.bodyAt < len(d.body) {
		if d.held {
			return false
		}
		d.sampleAt(0, false)
	}
	return true
}

// Waiting returns how many samples Take would give.
func (d *FrameDecoder) Waiting() int { return d.len() }

// Take returns the samples and text read since the last Take; see LineDecoder.
func (d *FrameDecoder) Take() acquire.Block { return d.take() }

// Rewind gives the last block's memory back.
func (d *FrameDecoder) Rewind() { d.rewind() }

func (d *FrameDecoder) hints() []string { return nil }
