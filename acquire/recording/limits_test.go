package recording

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// Single rules of the formats, by their specifications.

// TestWAVChunksArePadded: a chunk of odd size is followed by a zero that its size does not
// count (IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0).
func TestWAVChunksArePadded(t *testing.T) {
	le := binary.LittleEndian
	b := []byte("RIFF\x00\x00\x00\x00WAVEfmt ")
	b = le.AppendUint32(b, 16)
	for _, v := range []uint16{1, 1} { // PCM, one channel
		b = le.AppendUint16(b, v)
	}
	b = le.AppendUint32(b, 250)
	b = le.AppendUint32(b, 500)
	b = le.AppendUint16(b, 2)
	b = le.AppendUint16(b, 16)
	b = append(b, "junk\x03\x00\x00\x00abc\x00data\x04\x00\x00\x00\x02\x01\xfe\xff"...)
	le.PutUint32(b[4:], uint32(len(b)-8))
	path := filepath.Join(t.TempDir(), "odd.wav")
	must(t, os.WriteFile(path, b, 0o600))
	sameCounts(t, all(t, mustOpen(t, path)), [][]int32{{0x0102, -2}})
}

// TestRecordSkew: of a signal with a skew of 2, two samples come before sample 0 (the
// header's format, field skew).
func TestRecordSkew(t *testing.T) {
	folder := t.TempDir()
	write := func(name string, first int16) {
		var b []byte
		for i := range int16(5) {
			b = binary.LittleEndian.AppendUint16(b, uint16(first+i))
		}
		must(t, os.WriteFile(filepath.Join(folder, name), b, 0o600))
	}
	write("a.dat", 1)
	write("b.dat", 10)
	must(t, os.WriteFile(filepath.Join(folder, "x.hea"), []byte("x 2 100 5\na.dat 16 200 16 0 1 0 0 one\nb.dat 16:2 200 16 0 10 0 0 two\n"), 0o600))
	sameCounts(t, all(t, mustOpen(t, filepath.Join(folder, "x.hea"))), [][]int32{{1, 2, 3, 4, 5}, {12, 13, 14, acquire.MissingCount, acquire.MissingCount}})
}

// TestEDFYears: two digits mean 1985 to 2084 (Kemp and Olivan 2003, section 2.1.3).
func TestEDFYears(t *testing.T) {
	for date, year := range map[string]int{"31.12.84": 2084, "01.01.85": 1985, "31.12.99": 1999, "01.01.00": 2000, "26.11.26": 2026} {
		header := make([]byte, 256)
		copy(header[168:], date+"12.30.00")
		if got := edfStart(header, false); got.Year() != year || got.Hour() != 12 || got.Minute() != 30 {
			t.Errorf("%s is read as %v, want %d", date, got, year)
		}
	}
}

// TestPiecesFit: whatever the number of pieces, each fits, and they make the text again.
func TestPiecesFit(t *testing.T) {
	for _, n := range []int{1, 100, 101, 900, 9_000, 80_000} {
		text := strings.Repeat("é", n/2) + strings.Repeat("x", n-n/2*2)
		var list []Annotation
		for _, piece := range splitText(text, 100) {
			if len(piece) > 100 {
				t.Fatalf("a text of %d bytes has a piece of %d: %s", len(text), len(piece), piece)
			}
			list = append(list, Annotation{Text: piece})
		}
		if joined := joinPieces(list); len(joined) != 1 || joined[0].Text != text {
			t.Errorf("a text of %d bytes comes back in %d pieces", len(text), len(joined))
		}
	}
}

// TestLongRunsOfMissingAreNoted: from a tenth of a record on.
func TestLongRunsOfMissingAreNoted(t *testing.T) {
	path := filepath.Join(t.TempDir(), "holes.edf")
	w, err := Create(path, Header{Info: acquire.Info{Channels: []acquire.Channel{{Label: "a", MinCount: 0, MaxCount: 1023}}}, RateHz: 100})
	must(t, err)
	row := make([]int32, 400)
	for _, hole := range [][2]int{{20, 9}, {120, 10}} {
		for i := range hole[1] {
			row[hole[0]+i] = acquire.MissingCount
		}
	}
	must(t, w.Write([][]int32{row}, 0))
	must(t, w.Close())
	f := mustOpen(t, path)
	var noted []string
	for _, a := range f.Annotations() {
		if _, ok := parseMissing(a.Text); ok {
			noted = append(noted, fmt.Sprintf("%s at %d for %g s", a.Text, a.Sample, a.DurationSeconds))
		}
	}
	if got := strings.Join(noted, ", "); got != "missing @1 at 120 for 0.1 s" {
		t.Errorf("noted: %s", got)
	}
	sameCounts(t, all(t, f), [][]int32{row})
}

// TestRateIsCorrectedAfter8And16Records, as FORMAT.md says.
func TestRateIsCorrectedAfter8And16Records(t *testing.T) {
	path := filepath.Join(t.TempDir(), "clock.edf")
	w, err := Create(path, Header{Info: acquire.Info{Channels: []acquire.Channel{{Label: "a", MinCount: 0, MaxCount: 1023}}}, RateHz: 250})
	must(t, err)
	defer w.Close()
	must(t, w.SetRate(251))
	record := [][]int32{make([]int32, 250)}
	for n := int64(1); n <= 17; n++ {
		must(t, w.Write(record, (n-1)*250))
		if n == 9 {
			must(t, w.SetRate(252))
		}
		head := make([]byte, 256)
		file, err := os.Open(path)
		must(t, err)
		_, err = file.ReadAt(head, 0)
		file.Close()
		must(t, err)
		want := "1       "
		if n >= 16 {
			want = "0.992063" // 250/252
		} else if n >= 8 {
			want = "0.996016" // 250/251
		}
		if got := string(head[244:252]); got != want {
			t.Errorf("after %d records one lasts %q, want %q", n, got, want)
		}
	}
}

// TestTimesInLumps: samples stamped as they arrived, five with one time each fiftieth of a
// second: a tenth of a second without any is a gap, one lump late is none.
func TestTimesInLumps(t *testing.T) {
	for late, gaps := range map[float64]int{0.02: 0, 0.1: 1} {
		var b strings.Builder
		b.WriteString("time_s,pulse\n")
		for i := range 2000 {
			at := float64(i/5) * 0.02
			if i >= 1000 {
				at += late
			}
			fmt.Fprintf(&b, "%.3f,%d\n", at, i)
		}
		path := filepath.Join(t.TempDir(), "lumps.csv")
		must(t, os.WriteFile(path, []byte(b.String()), 0o600))
		f := mustOpen(t, path)
		if got := f.Gaps(); len(got) != gaps || gaps == 1 && (got[0].First != 1000 || got[0].Samples < 25 || got[0].Samples > 30) {
			t.Errorf("a lump %g s late: gaps %v", late, got)
		}
		if rate := f.Describe().ClaimedRateHz; rate < 248 || rate > 252 {
			t.Errorf("a lump %g s late: %g Hz, want about 250", late, rate)
		}
	}
}

// TestWideChannelIsExported: counts of more than 24 bits of a channel that states no range
// go through a BDF+ file and out of it again, bit for bit.
func TestWideChannelIsExported(t *testing.T) {
	folder := t.TempDir()
	counts := [][]int32{{0, 1<<30 + 7, -1<<30 - 9, acquire.MissingCount, 1<<31 - 1, -1<<31 + 1, 255, -1}}
	header := Header{Info: acquire.Info{Channels: []acquire.Channel{{Label: "a"}}}, RateHz: 8, Wide: []bool{true}}
	w, err := Create(filepath.Join(folder, "wide.bdf"), header)
	must(t, err)
	must(t, w.Write(counts, 0))
	must(t, w.Close())
	for _, name := range []string{"again.bdf", "then.csv"} {
		out := filepath.Join(folder, name)
		must(t, Convert(w.Path(), out, OpenOptions{}, ExportOptions{Counts: true}))
		sameCounts(t, all(t, mustOpen(t, out)), counts)
	}
	if err := Convert(w.Path(), filepath.Join(folder, "narrow.edf"), OpenOptions{}, ExportOptions{}); err == nil || !strings.Contains(err.Error(), ".bdf") {
		t.Errorf("into 16 bits: %v, want to be told of .bdf", err)
	}
}
