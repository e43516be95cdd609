package serialport

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
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

var _ = []any{bytes.Equal, errors.Is, fmt.Sprint, rand.N[int]}
