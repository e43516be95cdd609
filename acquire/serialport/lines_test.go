package serialport

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// reading is everything a decoder made of a stream.
type reading struct {
	format  Format
	counts  [][]int32
	seconds []float64
	first   []int64 // of each block
	lost    []int64
	jumps   int
	text    []string
	stats   stats
	err     error
}

// readAll settles after the first learn bytes, then feeds the rest in pieces of
// the sizes cut gives, taking when told to and every takeEvery pieces.
func readAll(t testing.TB, d decoder, stream []byte, learn int, cut func() int) reading {
	t.Helper()
	var r reading
	if _, err := d.Feed(stream[:learn]); err != nil {
		r.err = err
		return r
	}
	f, err := d.Settle()
	r.format = f
	if err != nil {
		r.err = err
		return r
	}
	rest := stream[learn:]
	next := int64(0)
	take := func() {
		b := d.Take()
		n := b.Len()
		if n > 0 {
			if b.First != next+b.Lost {
				t.Fatalf("block begins at %d, want %d + %d lost", b.First, next, b.Lost)
			}
			next = b.First + int64(n)
			if b.Lost > 0 || b.Jump || len(r.first) == 0 {
				r.first, r.lost = append(r.first, b.First), append(r.lost, b.Lost)
			}
			if b.Jump {
				r.jumps++
			}
			if b.BoardSeconds != nil && len(b.BoardSeconds) != n {
				t.Fatalf("%d seconds for %d samples", len(b.BoardSeconds), n)
			}
		}
		for len(r.counts) < len(b.Counts) {
			r.counts = append(r.counts, nil)
		}
		for i, c := range b.Counts {
			if len(c) != n {
				t.Fatalf("channel %d has %d samples, channel 0 has %d", i, len(c), n)
			}
			r.counts[i] = append(r.counts[i], c...)
		}
		r.seconds = append(r.seconds, b.BoardSeconds...)
		r.text = append(r.text, b.Text...)
		d.Rewind()
	}
	for {
		n := min(cut(), len(rest))
		piece := rest[:n]
		rest = rest[n:]
		for {
			k, err := d.Feed(piece)
			piece = piece[k:]
			take()
			if err != nil {
				r.err = err
			}
			if err != nil || len(piece) == 0 && d.Waiting() == 0 {
				break
			}
		}
		if r.err != nil || len(rest) == 0 {
			break
		}
	}
	switch d := d.(type) {
	case *LineDecoder:
		r.stats = d.stats
	case *FrameDecoder:
		r.stats = d.stats
	}
	return r
}

func whole() int { return math.MaxInt }

// lines reads a stream whose first line is dropped.
func lines(t testing.TB, stream string) reading {
	t.Helper()
	return readAll(t, NewLineDecoder(nil), []byte(stream), len(stream), whole)
}

func TestLines(t *testing.T) {
	const missing = acquire.MissingCount
	tests := []struct {
		name       string
		stream     string
		labels     string
		digits     []int
		counts     [][]int32
		unreadable int64
		text       string
	}{
		{name: "one number", stream: "12\n512\n513\n", labels: "ch1", digits: []int{0}, counts: [][]int32{{512, 513}}},
		{name: "first partial line dropped", stream: "2,7\n512,1\n", labels: "ch1 ch2", digits: []int{0, 0}, counts: [][]int32{{512}, {1}}},
		{name: "first line may be a header", stream: "a,b\n1,2\n", labels: "a b", digits: []int{0, 0}, counts: [][]int32{{1}, {2}}},
		{name: "first line that is no header", stream: "llo there\n1,2,3\n", labels: "ch1 ch2 ch3", digits: []int{0, 0, 0}, counts: [][]int32{{1}, {2}, {3}}},
		{name: "text that is no header", stream: "\nReady set\n1,2,3\n", labels: "ch1 ch2 ch3", digits: []int{0, 0, 0}, counts: [][]int32{{1}, {2}, {3}}, text: "Ready set"},
		{name: "first pair torn", stream: "lse:7\npulse:8\n", labels: "pulse", digits: []int{0}, counts: [][]int32{{8}}},
		{name: "line ends", stream: "\n1\r\n2\r3\n\n4\r\r\n5\n", labels: "ch1", digits: []int{0}, counts: [][]int32{{1, 2, 3, 4, 5}}},
		{name: "last line not ended", stream: "\n1\n2\n3", labels: "ch1", digits: []int{0}, counts: [][]int32{{1, 2}}},
		{name: "separators", stream: "\n1,2\n3;4\n5\t6\n7 8\n 9 ,  10 \n11,\t12,\n", labels: "ch1 ch2", digits: []int{0, 0},
			counts: [][]int32{{1, 3, 5, 7, 9, 11}, {2, 4, 6, 8, 10, 12}}},
		{name: "header", stream: "\npulse,ecg\n1,2\n3,4\n", labels: "pulse ecg", digits: []int{0, 0}, counts: [][]int32{{1, 3}, {2, 4}}},
		{name: "header of spaces", stream: "\npulse [mV] ecg [V]\n1 2\n", labels: "pulse ecg", digits: []int{0, 0}, counts: [][]int32{{1}, {2}}},
		{name: "header repeated", stream: "\npulse,ecg\n1,2\npulse,ecg\n3,4\n", labels: "pulse ecg", digits: []int{0, 0}, counts: [][]int32{{1, 3}, {2, 4}}},
		{name: "rows before a header were before a reset", stream: "\n9,9\npulse,ecg\n1,2\n", labels: "pulse ecg", digits: []int{0, 0}, counts: [][]int32{{1}, {2}}},
		{name: "same names", stream: "\na,a,b\n1,2,3\n", labels: "a a 2 b", digits: []int{0, 0, 0}, counts: [][]int32{{1}, {2}, {3}}},
		{name: "pairs", stream: "\npulse:1,ecg:2\npulse=3 ecg=4\necg: 6; pulse : 5\n", labels: "pulse ecg", digits: []int{0, 0},
			counts: [][]int32{{1, 3, 5}, {2, 4, 6}}},
		{name: "pair with unit", stream: "\npulse [mV]: 1.5\npulse[mV]=2\n", labels: "pulse", digits: []int{1}, counts: [][]int32{{15, 20}}},
		{name: "decimals keep their digits", stream: "\n1.234\n-0.5\n+2\n.25\n3.\n", labels: "ch1", digits: []int{3}, counts: [][]int32{{1234, -500, 2000, 250, 3000}}},
		{name: "exponents", stream: "\n1.5e-3\n2E1\n-1e+0\n12.5e2\n", labels: "ch1", digits: []int{4}, counts: [][]int32{{15, 200000, -10000, 12500000}}},
		{name: "missing", stream: "\n1,nan\n2,OVF\n3,-inf\n4,null\n,5\n", labels: "ch1 ch2", digits: []int{0, 0},
			counts: [][]int32{{1, 2, 3, 4, missing}, {missing, missing, missing, missing, 5}}},
		{name: "beyond 32 bits", stream: "\n1\n4294967295\n-2147483648\n2147483647\n99999999999999999999999\n", labels: "ch1", digits: []int{0},
			counts: [][]int32{{1, missing, missing, 2147483647, missing}}},
		{name: "too many decimals for 32 bits", stream: "\n3.30000000001\n-1.00000005\n", labels: "ch1", digits: []int{7}, counts: [][]int32{{33000000, -10000001}}},
		{name: "comment", stream: "\n# lamp clip\n1\n2 # note\n", labels: "ch1", digits: []int{0}, counts: [][]int32{{1, 2}}},
		{name: "text", stream: "\nLamp clip ready!\n1\n2\nlow battery?\n", labels: "ch1", digits: []int{0}, counts: [][]int32{{1, 2}}, text: "Lamp clip ready!|low battery?"},
		{name: "text in another script", stream: "\nGerät läuft: ja\n1\n", labels: "ch1", digits: []int{0}, counts: [][]int32{{1}}, text: "Gerät läuft: ja"},
		{name: "torn and garbled", stream: "\n1,2\n3,,4,4\n5,\x806\n7,8\n12.3.4,5\n1:2\n1,2x\n\x00\x01\n-\n9,9\n", labels: "ch1 ch2", digits: []int{0, 0},
			counts: [][]int32{{1, 7, 9}, {2, 8, 9}}, unreadable: 7},
		{name: "NUL and 0xFF before a line", stream: "\n1\n\x00\x00\xff2\n", labels: "ch1", digits: []int{0}, counts: [][]int32{{1, 2}}},
		{name: "clock columns are no channels", stream: "\nt_us,pulse,seq\n100,5,1\n4100,6,2\n", labels: "pulse", digits: []int{0}, counts: [][]int32{{5, 6}}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			r := lines(t, test.stream)
			if r.err != nil {
				t.Fatal(r.err)
			}
			var labels []string
			var digits []int
			for _, c := range r.format.Channels {
				labels, digits = append(labels, c.Label), append(digits, c.Digits)
			}
			if got := strings.Join(labels, " "); got != test.labels {
				t.Errorf("labels %q, want %q", got, test.labels)
			}
			if !reflect.DeepEqual(digits, test.digits) {
				t.Errorf("digits %v, want %v", digits, test.digits)
			}
			if !reflect.DeepEqual(r.counts, test.counts) {
				t.Errorf("counts %v, want %v", r.counts, test.counts)
			}
			if r.stats.unreadable != test.unreadable {
				t.Errorf("%d unreadable, want %d (last %q)", r.stats.unreadable, test.unreadable, r.stats.lastUnreadable())
			}
			if got := strings.Join(r.text, "|"); got != test.text {
				t.Errorf("text %q, want %q", got, test.text)
			}
		})
	}
}

// near compares times to a nanosecond.
func near(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Abs(x-y) < 1e-9 })
}

// A board's clock: 16-bit milliseconds and 32-bit microseconds wrap, seq counts
// what is lost. Expected values by hand.
func TestBoardClock(t *testing.T) {
	t.Run("t_ms 16 bit", func(t *testing.T) {
		r := lines(t, "\nt_ms,v\n65528,1\n65532,2\n0,3\n4,4\n")
		want := []float64{65.528, 65.532, 65.536, 65.540}
		if !near(r.seconds, want) || r.jumps != 0 {
			t.Errorf("seconds %v, want %v; %d jumps", r.seconds, want, r.jumps)
		}
	})
	t.Run("t_us 32 bit", func(t *testing.T) {
		r := lines(t, "\nt_us,v\n4294963200,1\n4294967200,2\n3904,3\n7904,4\n")
		want := []float64{4294.9632, 4294.9672, 4294.9712, 4294.9752}
		if !near(r.seconds, want) {
			t.Errorf("seconds %v, want %v", r.seconds, want)
		}
	})
	t.Run("t_ms with decimals", func(t *testing.T) {
		r := lines(t, "\nt_ms,v\n1000.25,1\n1004.5,2\n")
		if want := []float64{1.00025, 1.0045}; !near(r.seconds, want) {
			t.Errorf("seconds %v, want %v", r.seconds, want)
		}
	})
	for _, test := range []struct {
		name       string
		seq        []int64
		first      []int64
		lost       []int64
		counts     int
		jumps      int
		unreadable int64
		outOfOrder int64
	}{
		{"none lost", []int64{5, 6, 7}, []int64{0}, []int64{0}, 3, 0, 0, 0},
		{"three lost", []int64{5, 6, 10, 11}, []int64{0, 5}, []int64{0, 3}, 4, 0, 0, 0},
		{"8-bit wrap", []int64{254, 255, 0, 1}, []int64{0}, []int64{0}, 4, 0, 0, 0},
		{"8-bit wrap with loss", []int64{250, 254, 3}, []int64{0, 4, 9}, []int64{0, 3, 4}, 3, 0, 0, 0},
		{"16-bit wrap", []int64{65534, 65535, 0, 1}, []int64{0}, []int64{0}, 4, 0, 0, 0},
		{"signed 16-bit wrap", []int64{32766, 32767, -32768, -32767}, []int64{0}, []int64{0}, 4, 0, 0, 0},
		{"signed -1 to 0", []int64{-2, -1, 0, 1}, []int64{0}, []int64{0}, 4, 0, 0, 0},
		{"32-bit wrap", []int64{4294967294, 4294967295, 1}, []int64{0, 3}, []int64{0, 1}, 3, 0, 0, 0},
		{"torn number", []int64{1234, 35, 1236, 1237}, []int64{0, 2}, []int64{0, 1}, 3, 0, 1, 0},
		{"two torn numbers", []int64{1234, 35, 12, 1237, 1238}, []int64{0, 3}, []int64{0, 2}, 3, 0, 2, 0},
		{"long gap, confirmed", []int64{10, 11, 5000, 5001}, []int64{0, 4991}, []int64{0, 4989}, 3, 0, 1, 0},
		{"started anew", []int64{100, 101, 0, 1, 2}, []int64{0, 3}, []int64{0, 1}, 4, 1, 1, 0},
		{"two swapped", []int64{10, 12, 11, 13, 14}, []int64{0, 2}, []int64{0, 1}, 4, 0, 0, 1},
		{"late by 16", []int64{10, 30, 14, 31}, []int64{0, 20}, []int64{0, 19}, 3, 0, 0, 1},
		{"late by more", []int64{10, 30, 13, 31}, []int64{0, 20}, []int64{0, 19}, 3, 0, 1, 0},
	} {
		t.Run(test.name, func(t *testing.T) {
			var b strings.Builder
			b.WriteString("\nseq,v\n")
			for i, n := range test.seq {
				fmt.Fprintf(&b, "%d,%d\n", n, i)
			}
			r := lines(t, b.String())
			if r.err != nil {
				t.Fatal(r.err)
			}
			if !reflect.DeepEqual(r.first, test.first) || !reflect.DeepEqual(r.lost, test.lost) {
				t.Errorf("first %v lost %v, want %v %v", r.first, r.lost, test.first, test.lost)
			}
			if len(r.counts[0]) != test.counts || r.jumps != test.jumps || r.stats.unreadable != test.unreadable || r.stats.outOfOrder != test.outOfOrder {
				t.Errorf("%d samples, %d jumps, %d unreadable, %d out of order; want %d, %d, %d, %d", len(r.counts[0]), r.jumps, r.stats.unreadable, r.stats.outOfOrder,
					test.counts, test.jumps, test.unreadable, test.outOfOrder)
			}
		})
	}
}

func TestChanges(t *testing.T) {
	const learn = "\npulse,ecg\n1,2\n3,4\n"
	repeat := func(s string, n int) string { return strings.Repeat(s, n) }
	for _, test := range []struct {
		name, rest string
		changed    bool
		samples    int
	}{
		{"single odd lines", repeat("5,6\n7,8,9\n", 20), false, 22},
		{"four odd lines", repeat("7,8,9\n", 4) + "1,2\n", false, 3},
		{"five odd lines", repeat("7,8,9\n", 5) + "1,2\n", true, 2},
		{"other names", "left,right\n1,2\n", true, 2},
		{"last value empty", repeat("5,\n", 20), false, 22},
		{"a word", "hello\n1,2\n", false, 3},
		{"known header", "pulse,ecg\n1,2\n", false, 3},
		{"other rate", "# rate 250 Hz\n1,2\n", false, 3},
		{"decimals once", "1.5,2\n" + repeat("5,6\n", 30), false, 33},
		{"decimals always", repeat("1.25,2\n", 60), true, 23},
	} {
		t.Run(test.name, func(t *testing.T) {
			r := readAll(t, NewLineDecoder(nil), []byte(learn+test.rest), len(learn), whole)
			if errors.Is(r.err, acquire.ErrChanged) != test.changed || !test.changed && r.err != nil {
				t.Errorf("error %v, changed should be %v", r.err, test.changed)
			}
			if len(r.counts[0]) != test.samples {
				t.Errorf("%d samples, want %d", len(r.counts[0]), test.samples)
			}
		})
	}
	const rated = "\n# rate: 0.25kHz\n1\n2\n"
	r := readAll(t, NewLineDecoder(nil), []byte(rated+"# rate 250 Hz\n3\n#rate=500\n4\n"), len(rated), whole)
	if r.format.ClaimedRateHz != 250 || !errors.Is(r.err, acquire.ErrChanged) {
		t.Errorf("claimed %g Hz, then %v; want 250 and a change to 500", r.format.ClaimedRateHz, r.err)
	}
}

func TestRounding(t *testing.T) {
	const learn = "\n1.25\n-1.5\n"
	r := readAll(t, NewLineDecoder(nil), []byte(learn+"1.005\n-1.005\n1.0049\n2.500\n"), len(learn), whole)
	if want := [][]int32{{125, -150, 101, -101, 100, 250}}; !reflect.DeepEqual(r.counts, want) {
		t.Errorf("counts %v, want %v", r.counts, want)
	}
	if r.stats.rounded != 3 {
		t.Errorf("%d rounded, want 3", r.stats.rounded)
	}
}

func TestLongLines(t *testing.T) {
	for _, n := range []int{4095, 4096, 4097, 100_000} {
		long := strings.Repeat("1", n-2) + ",2"
		stream := "\n1,2\n" + long + "\n3,4\n"
		for _, size := range []int{1, 7, 1000, 1 << 20} {
			r := readAll(t, NewLineDecoder(nil), []byte(stream), 5, func() int { return size })
			samples, unreadable := 3, int64(0)
			if n > maxLine {
				samples, unreadable = 2, 1
			}
			if r.err != nil || len(r.counts[0]) != samples || r.stats.unreadable != unreadable {
				t.Errorf("line of %d bytes in pieces of %d: %d samples, %d unreadable, %v; want %d, %d", n, size,
					len(r.counts[0]), r.stats.unreadable, r.err, samples, unreadable)
			}
		}
	}
}

func TestUnits(t *testing.T) {
	r := lines(t, "\na [V],b [mV],c [µV],d [mmHg],e [counts],f\n1,1.5,1,1.25,1,1\n")
	want := []struct {
		unit  string
		scale float64
	}{{"V", 1}, {"V", 0.0001}, {"V", 1e-6}, {"mmHg", 0.01}, {"", 0}, {"", 0}}
	for i, c := range r.format.Channels {
		if c.Unit != want[i].unit || c.VoltsPerCount != want[i].scale {
			t.Errorf("%s: unit %q scale %g, want %q %g", c.Label, c.Unit, c.VoltsPerCount, want[i].unit, want[i].scale)
		}
	}
}

// Any cutting of a stream into pieces gives the same samples.
func TestSplitInvariance(t *testing.T) {
	stream := []byte("x9\nt_us,seq,pulse [mV]\r\n0,0,1.25\r\n4000,1,1.3\r\n8000,2,nan\r\n" + strings.Repeat("12000,3,1.5\n", 3) +
		"16000,7,2\rhello there\n20000,8,1.12345\n\x00\xff\x07\n24000,99,1\n28000,10,3\n" + strings.Repeat("9", 5000) + "\n32000,11,4\n" +
		"gain: 10\n0,0,1\n4000,1,2\n8000,2,3\n# end\n12000,3")
	const learn = 60
	want := readAll(t, NewLineDecoder(nil), stream, learn, whole)
	if want.err != nil || len(want.counts[0]) < 10 {
		t.Fatalf("%d samples, %v", len(want.counts[0]), want.err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 300 {
		size := 1 + i/10
		got := readAll(t, NewLineDecoder(nil), stream, learn, func() int { return 1 + rng.IntN(size) })
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("pieces up to %d: %+v\nwant %+v", size, got, want)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	for name, line := range map[string]string{"csv": "123456,512,-1.25\r\n", "pairs": "seq:1,pulse:512,ecg:-1.25\n", "bad": "12.3.4,5\n", "words": "Sensor value: 512 mV | Red 7 mV | IR 1.25 mV\n", "object": "{\"ir\":512,\"red\":1.25}\n", "comma": "1,5;2,5;1,25\n"} {
		d := NewLineDecoder(nil)
		header := "\na,b,c\n1,2,1.25\n"
		if name != "csv" && name != "bad" {
			header = "\n" + line
		}
		d.Feed([]byte(header))
		if _, err := d.Settle(); err != nil {
			t.Fatal(err)
		}
		block := bytes.Repeat([]byte(line), 50)
		run := func() {
			for p := block; len(p) > 0; {
				n, err := d.Feed(p)
				if err != nil {
					t.Fatal(err)
				}
				p = p[n:]
				d.Take()
				d.Rewind()
			}
		}
		run()
		if n := testing.AllocsPerRun(20, run); n != 0 {
			t.Errorf("%s: %g allocations per 50 lines", name, n)
		}
	}
}

func TestPrintable(t *testing.T) {
	for in, want := range map[string]string{
		"plain": "plain", "a\tb": "a b", "\x00\x1b[2J": `\x00\x1b[2J`, "\xff": `\xff`, "µV": "µV", "a\u202eb": "a?b",
	} {
		if got := printable([]byte(in), 100); got != want {
			t.Errorf("printable(%q) = %q, want %q", in, got, want)
		}
	}
	if got := printable([]byte(strings.Repeat("ä", 100)), 21); len(got) > 21+len("…") || !strings.HasSuffix(got, "…") {
		t.Errorf("cut to %d bytes: %q", len(got), got)
	}
}

func FuzzLines(f *testing.F) {
	f.Add([]byte("\npulse [mV],seq\n1.5,1\n2,2\n3e2,4\n"), uint8(20), uint8(3))
	f.Add([]byte("7\r\nt_ms:65535 ecg:nan\r\nt_ms:1 ecg:-.5\r\n# rate 250 Hz\r\nhi\r\n"), uint8(30), uint8(1))
	f.Add([]byte("\n1,2\n1,2,3\n\x00\xff\n,;,\n1e999,-\n"), uint8(8), uint8(9))
	f.Add([]byte("\n{\"ir\":512,\"red\":null}\nSignal 7 BPM 72\n> 5 mV\n1,5;2,5\n0x1F\n1FF\nA,B\n"), uint8(40), uint8(5))
	f.Add([]byte("\n1,050\n1,055\n1,060\n1,061\n1,070\n"), uint8(24), uint8(2))
	f.Add([]byte("\n1000,5\n1004,5\n1008,6\n1012,7\n1016,5\n1020,5\n1024,6\n1028,7\n1032,5\n1036,5\n1040,6\n1044,7\n1048,1\n1180,7\n"), uint8(90), uint8(4))
	f.Fuzz(func(t *testing.T, stream []byte, learn, size uint8) {
		n := min(int(learn), len(stream))
		one := readAll(t, NewLineDecoder(nil), stream, n, whole)
		many := readAll(t, NewLineDecoder(nil), stream, n, func() int { return 1 + int(size) })
		if !reflect.DeepEqual(one.counts, many.counts) || one.stats != many.stats || (one.err == nil) != (many.err == nil) {
			t.Fatalf("whole: %+v\nin pieces: %+v", one, many)
		}
		if len(one.stats.lastUnreadable()) > maxExcerpt+len("…") {
			t.Fatal("excerpt too long")
		}
	})
}

func BenchmarkLines(b *testing.B) {
	var text bytes.Buffer
	for i := range 1000 {
		fmt.Fprintf(&text, "%d,%d,%d\r\n", 1000*i, 512+i%300, 400+i%100)
	}
	d := NewLineDecoder(nil)
	d.Feed([]byte("\nt_us,pulse,ecg\n0,1,2\n"))
	if _, err := d.Settle(); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(text.Len()))
	b.ReportAllocs()
	for b.Loop() {
		d.time = boardClock{bigStep: 10_000_000, goOn: 1_000_000}
		for p := text.Bytes(); len(p) > 0; {
			n, err := d.Feed(p)
			if err != nil {
				b.Fatal(err)
			}
			p = p[n:]
			d.Take()
			d.Rewind()
		}
	}
	b.ReportMetric(float64(b.N)*1000/b.Elapsed().Seconds(), "lines/s")
}

// TestKindInAComment: a board may say what it carries; a name that tells it comes first.
func TestKindInAComment(t *testing.T) {
	d := NewLineDecoder(nil)
	text := "# rate 250 Hz\n# kind ecg\nt_us,raw,filtered,beat [ms],pulse\n"
	for i := range 200 {
		text += fmt.Sprintf("%d,%d,%d,0,%d\n", 4000*i, 500+i%7, i%5, i%3)
	}
	if _, err := d.Feed([]byte(text)); err != nil {
		t.Fatal(err)
	}
	f, err := d.Settle()
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for _, c := range f.Channels {
		kinds = append(kinds, c.Kind)
	}
	if got := strings.Join(kinds, ","); got != "ecg,ecg,other,pulse" {
		t.Errorf("kinds %s", got)
	}
}
