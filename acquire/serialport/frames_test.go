package serialport

import (
	"bytes"
	"encoding/hex"
	"errors"
	"math/rand/v2"
	"reflect"
	"testing"

	"pulsewright/acquire"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestCRC(t *testing.T) {
	// Check value of CRC-16/CCITT-FALSE in the common catalogue of CRCs.
	if got := crc16([]byte("123456789")); got != 0x29B1 {
		t.Errorf("crc16(123456789) = %#x, want 0x29b1", got)
	}
}

func TestCOBS(t *testing.T) {
	run := func(from, n int) []byte {
		var b []byte
		for i := range n {
			b = append(b, byte(from+i))
		}
		return b
	}
	// 11 22 00 33 and the boundary cases at 254 bytes: Cheshire & Baker 1999,
	// section 3, worked by hand.
	for _, test := range []struct{ plain, coded []byte }{
		{nil, []byte{1}},
		{[]byte{0}, []byte{1, 1}},
		{[]byte{0, 0}, []byte{1, 1, 1}},
		{unhex(t, "11220033"), unhex(t, "0311220233")},
		{unhex(t, "11000000"), unhex(t, "0211010101")},
		{run(1, 253), append([]byte{0xfe}, run(1, 253)...)},
		{run(1, 254), append([]byte{0xff}, run(1, 254)...)},
		{run(0, 255), append([]byte{0x01, 0xff}, run(1, 254)...)},
		{run(1, 255), append(append([]byte{0xff}, run(1, 254)...), 2, 0xff)},
		{append(run(2, 254), 0), append(append([]byte{0xff}, run(2, 254)...), 1, 1)},
		{append(run(3, 253), 0), append(append([]byte{0xfe}, run(3, 253)...), 1)},
	} {
		if got := appendCOBS(nil, test.plain); !bytes.Equal(got, test.coded) {
			t.Errorf("encoding %x = %x, want %x", test.plain, got, test.coded)
		}
		got, err := decodeCOBS(bytes.Clone(test.coded))
		if err != nil || !bytes.Equal(got, test.plain) {
			t.Errorf("decoding %x = %x, %v; want %x", test.coded, got, err, test.plain)
		}
	}
	for _, bad := range []string{"00", "03", "0311", "031100", "021105"} {
		if got, err := decodeCOBS(unhex(t, bad)); err == nil {
			t.Errorf("decoding %s gave %x", bad, got)
		}
	}
}

func TestFrameExample(t *testing.T) {
	// The example of FRAMES.md, made with binascii.crc_hqx and by hand.
	want := unhex(t, "0711010202E80301010602FFFF76B500")
	var e FrameEncoder
	got := e.Samples(nil, 1000, 2, [][]int32{{512, -1}})
	if !bytes.Equal(got, want) {
		t.Errorf("encoded %x, want %x", got, want)
	}
	d := NewFrameDecoder()
	r := readAll(t, d, append([]byte{0}, want...), 1+len(want), whole)
	if r.err != nil || !reflect.DeepEqual(r.counts, [][]int32{{512, -1}}) {
		t.Errorf("decoded %v, %v", r.counts, r.err)
	}
}

var testChannels = []acquire.Channel{
	{Label: "pulse", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 5.0 / 1024, MaxCount: 1023},
	{Label: "chest", Kind: acquire.KindECG, Unit: "mV", VoltsPerCount: 0.001, OffsetVolts: -2.5, MinCount: -1 << 23, MaxCount: 1<<23 - 1},
}

// stream of n frames of 3 samples on 2 channels; sample i is i and −i·1000.
func frameStream(n int, width int, skip func(i int) bool) (out []byte, counts [][]int32) {
	var e FrameEncoder
	out = append(out, 0)
	out = e.Info(out, 1000, testChannels)
	counts = make([][]int32, 2)
	for i := range n {
		var block [2][]int32
		for k := range 3 {
			v := int32(3*i + k)
			block[0], block[1] = append(block[0], v), append(block[1], -v*10)
		}
		if !skip(i) {
			out = e.Samples(out, uint32(3*i), width, block[:])
			counts[0], counts[1] = append(counts[0], block[0]...), append(counts[1], block[1]...)
		}
	}
	return out, counts
}

func TestFrames(t *testing.T) {
	for _, width := range []int{2, 3} {
		stream, counts := frameStream(100, width, func(i int) bool { return i == 40 || i == 41 || i == 70 })
		var e FrameEncoder
		stream = e.Text(stream, "battery low")
		learn := len(stream) / 5
		want := readAll(t, NewFrameDecoder(), stream, learn, whole)
		if want.err != nil || !reflect.DeepEqual(want.counts, counts) {
			t.Fatalf("width %d: %v, %d samples of %d", width, want.err, len(want.counts[0]), len(counts[0]))
		}
		if !reflect.DeepEqual(want.format.Channels, testChannels) || want.format.ClaimedRateHz != 1000 {
			t.Errorf("format %+v", want.format)
		}
		if !reflect.DeepEqual(want.lost, []int64{0, 6, 3}) || want.stats.lostTotal != 9 || want.stats.unreadable != 0 {
			t.Errorf("lost %v, total %d, unreadable %d; want [0 6 3], 9, 0", want.lost, want.stats.lostTotal, want.stats.unreadable)
		}
		if !reflect.DeepEqual(want.text, []string{"battery low"}) {
			t.Errorf("text %q", want.text)
		}
		rng := rand.New(rand.NewPCG(3, 4))
		for i := range 60 {
			got := readAll(t, NewFrameDecoder(), stream, learn, func() int { return 1 + rng.IntN(1+i) })
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("pieces up to %d differ", 1+i)
			}
		}
	}
}

// Damaged bytes cost exactly the frames they hit, and the sequence tells them.
func TestFramesDamaged(t *testing.T) {
	stream, counts := frameStream(200, 2, func(int) bool { return false })
	rng := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		bad := bytes.Clone(stream)
		at := len(bad)/4 + rng.IntN(len(bad)/2)
		bad[at] ^= byte(1 + rng.IntN(255))
		r := readAll(t, NewFrameDecoder(), bad, len(bad)/8, whole)
		if r.err != nil {
			t.Fatal(r.err)
		}
		if got := int64(len(r.counts[0])) + r.stats.lostTotal; got != int64(len(counts[0])) {
			t.Fatalf("byte %d: %d samples and %d lost, want %d together", at, len(r.counts[0]), r.stats.lostTotal, len(counts[0]))
		}
		if r.stats.lostTotal < 3 || r.stats.lostTotal > 6 || r.stats.unreadable < 1 {
			t.Fatalf("byte %d: lost %d, unreadable %d", at, r.stats.lostTotal, r.stats.unreadable)
		}
	}
}

func TestFrameChanges(t *testing.T) {
	stream, _ := frameStream(10, 2, func(int) bool { return false })
	var e FrameEncoder
	restart := e.Samples(bytes.Clone(stream), 0, 2, [][]int32{{1}, {2}})
	r := readAll(t, NewFrameDecoder(), restart, len(stream), whole)
	if r.err != nil || r.jumps != 1 || r.stats.lostTotal != 0 {
		t.Errorf("restart: %v, %d jumps, %d lost", r.err, r.jumps, r.stats.lostTotal)
	}
	info := e.Info(bytes.Clone(stream), 500, testChannels)
	if r := readAll(t, NewFrameDecoder(), info, len(stream), whole); !errors.Is(r.err, acquire.ErrChanged) {
		t.Errorf("other rate: %v", r.err)
	}
	fewer := bytes.Clone(stream)
	for i := range 3 {
		fewer = e.Samples(fewer, uint32(30+i), 2, [][]int32{{1}})
	}
	if r := readAll(t, NewFrameDecoder(), fewer, len(stream), whole); !errors.Is(r.err, acquire.ErrChanged) {
		t.Errorf("fewer channels: %v", r.err)
	}
	wrap := e.Samples(nil, 1<<32-2, 2, [][]int32{{1, 2}})
	wrap = e.Samples(wrap, 0, 2, [][]int32{{3}})
	wrap = e.Samples(wrap, 2, 2, [][]int32{{4}})
	if r := readAll(t, NewFrameDecoder(), wrap, len(wrap), whole); r.err != nil || r.stats.lostTotal != 1 || r.jumps != 0 {
		t.Errorf("wrap: %v, lost %d, %d jumps; want 1, 0", r.err, r.stats.lostTotal, r.jumps)
	}
}

func FuzzFrames(f *testing.F) {
	stream, _ := frameStream(3, 2, func(i int) bool { return i == 1 })
	f.Add(stream, uint8(80), uint8(3))
	stream, _ = frameStream(2, 3, func(int) bool { return false })
	f.Add(stream, uint8(90), uint8(7))
	f.Add([]byte("\x00\x03\x11\x22\x02\x33\x00"), uint8(0), uint8(0))
	f.Fuzz(func(t *testing.T, stream []byte, learn, size uint8) {
		n := min(int(learn), len(stream))
		one := readAll(t, NewFrameDecoder(), stream, n, whole)
		many := readAll(t, NewFrameDecoder(), stream, n, func() int { return 1 + int(size) })
		if !reflect.DeepEqual(one.counts, many.counts) || one.stats != many.stats || (one.err == nil) != (many.err == nil) {
			t.Fatalf("whole: %+v\nin pieces: %+v", one, many)
		}
		plain := bytes.Clone(stream)
		back, err := decodeCOBS(appendCOBS(nil, plain))
		if err != nil || !bytes.Equal(back, plain) {
			t.Fatalf("COBS of %x came back as %x, %v", plain, back, err)
		}
	})
}

func BenchmarkFrames(b *testing.B) {
	stream, counts := frameStream(1000, 2, func(int) bool { return false })
	d := NewFrameDecoder()
	d.Feed(stream)
	if _, err := d.Settle(); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(stream)))
	b.ReportAllocs()
	for b.Loop() {
		d.started = false
		for p := stream; ; {
			n, err := d.Feed(p)
			if err != nil {
				b.Fatal(err)
			}
			p = p[n:]
			d.Take()
			d.Rewind()
			if len(p) == 0 && d.Waiting() == 0 {
				break
			}
		}
	}
	b.ReportMetric(float64(b.N*len(counts[0]))/b.Elapsed().Seconds(), "samples/s")
}
