package recording

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// libedf compiles testdata/NAME.c against Debian's libedf (libedf-dev 1.23).
func libedf(t testing.TB, name string) string {
	t.Helper()
	cc := needTool(t, "cc")
	exe := filepath.Join(t.TempDir(), name)
	out, err := exec.Command(cc, "-O1", "-o", exe, filepath.Join("testdata", name+".c"), "-ledf").CombinedOutput()
	if err != nil {
		if strings.Contains(string(out), "edflib.h") || strings.Contains(string(out), "-ledf") {
			acquiretest.Missing(t, "libedf (Debian: libedf-dev)")
		}
		t.Fatalf("%v\n%s", err, out)
	}
	return exe
}

func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

// A wide channel read by libedf: its counts ÷ 256 with their scale in volts, and the
// remainders as a signal of their own.
func TestLibraryReadsWide(t *testing.T) {
	dump := libedf(t, "dump")
	wide := acquire.Channel{Label: "weigh cell", Unit: "V", VoltsPerCount: 5.0 / (1 << 24), MaxCount: 1<<24 - 1}
	w := create(t, "a.bdf", 100, wide)
	want := noise(wide, 500, 3)
	must(t, w.Write([][]int32{want}, 0))
	must(t, w.Close())
	got := make([]int32, 2*len(want))
	at := [2]int{}
	for line := range strings.SplitSeq(run(t, dump, w.Path()), "\n") {
		var c, v int
		var rate, scale float64
		if n, _ := fmt.Sscanf(line, "S %d %d", &c, &v); n == 2 && at[c] < len(want) {
			got[2*at[c]+c] = int32(v)
			at[c]++
		}
		if n, _ := fmt.Sscanf(line, "R %d %f %f", &c, &rate, &scale); n == 3 {
			if step := []float64{256 * wide.VoltsPerCount, wide.VoltsPerCount}[c]; !near(scale, step, []float64{1e-6, 0.2}[c]) {
				t.Errorf("libedf reads scale %g of signal %d, want %g", scale, c, step)
			}
		}
	}
	for i, v := range want {
		if 256*got[2*i]+got[2*i+1] != v {
			t.Fatalf("libedf reads sample %d as %d·256 + %d, want %d", i, got[2*i], got[2*i+1], v)
		}
	}
}

// Our files read by libedf: samples, scale, rate and annotations.
func TestLibraryReadsOurs(t *testing.T) {
	dump := libedf(t, "dump")
	for _, tc := range []struct {
		name     string
		rate     float64
		measured float64
		channels []acquire.Channel
	}{
		{"a.edf", 250, 250, []acquire.Channel{lampClip()}},
		{"a.edf", 500, 487.8125, []acquire.Channel{lampClip(), lampClip()}},
		{"a.bdf", 1000, 1000, []acquire.Channel{lampClip(), chestLead()}},
		{"a.bdf", 44100, 44100, []acquire.Channel{{Label: "line", MinCount: -32768, MaxCount: 32767}, {Label: "line 2", MinCount: -32768, MaxCount: 32767}}},
	} {
		w := create(t, tc.name, tc.rate, tc.channels...)
		n := int(tc.rate * 12.5)
		want := make([][]int32, len(tc.channels))
		for c, ch := range tc.channels {
			want[c] = noise(ch, n, uint64(c)+7)
		}
		must(t, w.Annotate(int64(n/2), int64(n/10), "halfway, «Übung»"))
		must(t, w.SetRate(tc.measured))
		for i := range 50 {
			at, end := i*n/50, (i+1)*n/50
			part := make([][]int32, len(want))
			for c := range want {
				part[c] = want[c][at:end]
			}
			must(t, w.Write(part, int64(at)))
			if i < 40 {
				must(t, w.Annotate(int64(at), 0, BeatText(acquire.KindPulse, float64(i)/40, -1)))
			}
		}
		must(t, w.Close())
		lines := strings.Split(strings.TrimSpace(run(t, dump, w.Path())), "\n")
		beats, half := 0, false
		at := make([]int, len(want))
		for _, line := range lines {
			kind, rest, _ := strings.Cut(line, " ")
			var c, v int
			var x, y float64
			switch kind {
			case "S":
				fmt.Sscan(rest, &c, &v)
				if at[c] < n && int32(v) != want[c][at[c]] {
					t.Fatalf("%s: libedf reads channel %d sample %d as %d, want %d", tc.name, c, at[c], v, want[c][at[c]])
				}
				at[c]++
			case "R": // channel, rate, scale
				fmt.Sscan(rest, &c, &x, &y)
				if !near(x, tc.measured, 1e-6) {
					t.Errorf("%s: libedf reads %.9g Hz, want %.9g", tc.name, x, tc.measured)
				}
				scale := tc.channels[c].VoltsPerCount
				if scale == 0 {
					scale = 1
				}
				if !near(y, scale, 2e-7) {
					t.Errorf("%s: libedf reads scale %.12g, want %.12g", tc.name, y, scale)
				}
			case "A": // onset, duration, text
				f := strings.SplitN(rest, " ", 3)
				on, _ := strconv.ParseFloat(f[0], 64)
				dur, _ := strconv.ParseFloat(f[1], 64)
				if strings.HasPrefix(f[2], "beat ") {
					sample := beats * n / 50
					if math.Abs(on-float64(sample)/tc.measured) > 2e-6*(1+on) {
						t.Errorf("%s: beat %d at %.7f s, want %.7f", tc.name, beats, on, float64(sample)/tc.measured)
					}
					beats++
				}
				if f[2] == "halfway, «Übung»" {
					half = math.Abs(on-float64(n/2)/tc.measured) < 1e-5 && math.Abs(dur-float64(n/10)/tc.measured) < 1e-5
				}
			}
		}
		if beats != 40 || !half {
			t.Errorf("%s: libedf finds %d beats of 40, the note with umlauts: %v", tc.name, beats, half)
		}
		for c := range at {
			if at[c] < n || at[c] >= n+w.perRecord {
				t.Errorf("%s: libedf reads %d samples, want %d and padding", tc.name, at[c], n)
			}
		}
	}
}

// Files that libedf made, read by us: two rates, annotations, 16 and 24 bits.
// The expected values are those of testdata/make.c: channel 0 has 200 Hz and
// value (7919·i mod 60001) − 30000, channel 1 has 50 Hz and value i − 100.
func TestWeReadLibrarys(t *testing.T) {
	tool := libedf(t, "make")
	for _, kind := range []string{"edf", "bdf"} {
		path := filepath.Join(t.TempDir(), "foreign."+kind)
		run(t, tool, kind, path)
		f := mustOpen(t, path)
		info := f.Describe()
		if f.Format() != strings.ToUpper(kind)+"+" || f.Len() != 2000 || info.ClaimedRateHz != 200 || len(info.Channels) != 2 {
			t.Fatalf("%s, %d samples, %g Hz, %d channels; want 2000, 200 Hz, 2", f.Format(), f.Len(), info.ClaimedRateHz, len(info.Channels))
		}
		counts := all(t, f)
		for i := range 2000 {
			if want := int32(7919*i%60001 - 30000); counts[0][i] != want {
				t.Fatalf("%s: sample %d is %d, want %d", kind, i, counts[0][i], want)
			}
			if want := int32(i/4 - 100); counts[1][i] != want {
				t.Fatalf("%s: slow sample %d is %d, want %d", kind, i, counts[1][i], want)
			}
		}
		// −3000 … 3000 uV over −32768 … 32767, or −8388608 … 8388607.
		span := 65535.0
		if kind == "bdf" {
			span = 16777215
		}
		if c := info.Channels[0]; c.Unit != "V" || !near(c.VoltsPerCount, 6000e-6/span, 1e-12) || c.Kind != acquire.KindECG || c.Label != "ECG II" {
			t.Errorf("%s: channel %+v", kind, c)
		}
		if c := info.Channels[1]; c.Unit != "mmHg" || !near(c.VoltsPerCount, 300/span, 1e-12) {
			t.Errorf("%s: channel %+v", kind, c)
		}
		if got := info.Started.Format("2006-01-02 15:04:05.0"); got != "2026-03-12 19:42:05.5" {
			t.Errorf("%s: started %s", kind, got)
		}
		want := []Annotation{{0.5, 0, 100, "start of the exercise"}, {3.25, 1.5, 650, "«Lampe» bewegt"}, {9.9, 0, 1980, "ende"}}
		got := f.Annotations()
		if len(got) != len(want) {
			t.Fatalf("%s: annotations %v", kind, got)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Errorf("%s: annotation %+v, want %+v", kind, got[i], want[i])
			}
		}
		if !strings.Contains(strings.Join(f.Remarks(), " "), "repeated") {
			t.Errorf("%s: nothing said about two rates: %q", kind, f.Remarks())
		}
	}
}

// A file with gaps, which libedf refuses, read by a second slow reading of the
// specification. It began a quarter of a second after the time in its header (EDF+ 2.2.4).
func TestDiscontinuousByTheBook(t *testing.T) {
	w := create(t, "a.edf", 10, lampClip())
	must(t, w.Write([][]int32{{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}}, 0))
	must(t, w.Write([][]int32{{11, 12, 13}}, 35))
	must(t, w.Close())
	b, err := os.ReadFile(w.Path())
	must(t, err)
	const header, samples, note = 768, 10, 256
	if len(b) != header+2*(2*samples+note) || field(b, 192, 5) != "EDF+D" {
		t.Fatalf("%d bytes, %q", len(b), field(b, 192, 44))
	}
	for r, want := range []struct {
		stamp  string
		counts []int16
	}{{"+0.2500000\x14\x14\x00", []int16{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}}, {"+3.7500000\x14\x14\x00", []int16{11, 12, 13}}} {
		record := b[header+r*(2*samples+note):]
		for i, v := range want.counts {
			if got := int16(binary.LittleEndian.Uint16(record[2*i:])); got != v {
				t.Errorf("record %d sample %d is %d, want %d", r, i, got, v)
			}
		}
		if !bytes.HasPrefix(record[2*samples:], []byte(want.stamp)) {
			t.Errorf("record %d begins %q, want %q", r, record[2*samples:][:20], want.stamp)
		}
	}
	f := mustOpen(t, w.Path())
	if g := f.Gaps(); len(g) != 1 || g[0] != (Gap{10, 25}) {
		t.Errorf("gaps %v, want 10 +25", g)
	}
}

// The headers of format 212 and 16 records give each signal's first value and
// the 16-bit sum of its samples.
func TestRecordsAgainstTheirChecksums(t *testing.T) {
	dir := acquiretest.OpenData(t)
	var paths []string
	for _, pattern := range []string{"mitdb/*.hea", "challenge2015/*.hea"} {
		m, err := filepath.Glob(filepath.Join(dir, pattern))
		must(t, err)
		paths = append(paths, m...)
	}
	if len(paths) < 25 {
		t.Fatalf("%d records, 25 are in the folder's list", len(paths))
	}
	for _, path := range paths {
		f := mustOpen(t, path)
		text, err := os.ReadFile(path)
		must(t, err)
		lines := strings.Split(string(text), "\n")
		if n := strings.Fields(lines[0])[3]; strconv.FormatInt(f.Len(), 10) != n {
			t.Errorf("%s: %d samples, the header says %s", path, f.Len(), n)
		}
		for c, row := range all(t, f) {
			w := strings.Fields(lines[c+1])
			sum := int16(0)
			for _, v := range row {
				if v == acquire.MissingCount {
					v = -32768
				}
				sum += int16(v)
			}
			if strconv.Itoa(int(row[0])) != w[5] || strconv.Itoa(int(sum)) != w[6] {
				t.Errorf("%s channel %d: first %d, sum %d; the header says %s, %s", path, c, row[0], sum, w[5], w[6])
			}
			gain, err := strconv.ParseFloat(strings.Split(w[2], "/")[0], 64)
			must(t, err)
			zero, err := strconv.Atoi(w[4])
			must(t, err)
			// mV where the line gives no unit, NU where it gives that.
			want := (float64(row[0]) - float64(zero)) / gain
			if !strings.HasSuffix(w[2], "/NU") {
				want /= 1000
			}
			if got := f.Describe().Channels[c].Value(row[0]); math.Abs(got-want) > 1e-12 {
				t.Errorf("%s channel %d: first value %g, want %g", path, c, got, want)
			}
			if f.Describe().Channels[c].Label != w[8] {
				t.Errorf("%s: label %q", path, f.Describe().Channels[c].Label)
			}
		}
		f.Close()
	}
}

// Counts of beats from the databases' own tables; the codes of beats are those of the
// format's table that are no rhythm, quality or comment.
func TestAnnotationsOfRecords(t *testing.T) {
	dir := acquiretest.OpenData(t)
	for record, want := range map[string]int{"100": 2273, "105": 2572, "106": 2027, "107": 2137, "109": 2532, "113": 1795, "114": 1879, "203": 2980,
		"208": 2955, "209": 3005, "212": 2748, "215": 3363, "219": 2154, "223": 2605, "231": 1571, "234": 2753} {
		file, err := os.Open(filepath.Join(dir, "mitdb", record+".atr"))
		must(t, err)
		list, err := ReadMITAnnotations(file)
		file.Close()
		must(t, err)
		n := 0
		for i, a := range list {
			switch a.Code {
			case 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 25, 30, 34, 35, 38, 41:
				n++
			}
			if i > 0 && a.Sample < list[i-1].Sample {
				t.Errorf("record %s: sample %d after %d", record, a.Sample, list[i-1].Sample)
			}
		}
		if n != want {
			t.Errorf("record %s: %d beats, the database's table says %d", record, n, want)
		}
	}
}

// The open CSV files against encoding/csv.
func TestCSVAgainstStandardReader(t *testing.T) {
	dir := acquiretest.OpenData(t)
	paths, err := filepath.Glob(filepath.Join(dir, "bidmc", "*_Signals.csv.gz"))
	must(t, err)
	for _, path := range paths[:3] {
		f := mustOpen(t, path)
		in, err := openInput(path)
		must(t, err)
		text, err := in.bytes(0, int(in.size))
		must(t, err)
		in.Close()
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		must(t, err)
		info := f.Describe()
		if f.Len() != int64(len(rows)-1) || info.ClaimedRateHz != 125 || len(info.Channels) != len(rows[0])-1 {
			t.Fatalf("%s: %d samples at %g Hz", path, f.Len(), info.ClaimedRateHz)
		}
		counts := all(t, f)
		for c, ch := range info.Channels {
			if ch.Label != strings.TrimSpace(rows[0][c+1]) {
				t.Errorf("label %q, want %q", ch.Label, rows[0][c+1])
			}
			for i, row := range rows[1:] {
				want, err := strconv.ParseFloat(strings.TrimSpace(row[c+1]), 64)
				if err != nil || math.IsNaN(want) {
					if counts[c][i] != acquire.MissingCount {
						t.Fatalf("%s row %d: %q is count %d", path, i, row[c+1], counts[c][i])
					}
					continue
				}
				if got := ch.Value(counts[c][i]); math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
					t.Fatalf("%s channel %d row %d: %g, want %g", path, c, i, got, want)
				}
			}
		}
	}
	f := mustOpen(t, filepath.Join(dir, "aami-ec13", "aami3a.csv"))
	c := f.Describe().Channels[0]
	// Its comment says 720 Hz and mV = (adc − 2048)/130; its first row is 2072.
	if f.Describe().ClaimedRateHz != 720 || !near(c.Value(2072), (2072-2048)/130.0*1e-3, 1e-9) {
		t.Errorf("%g Hz, %+v", f.Describe().ClaimedRateHz, c)
	}
}

// Our CSV read by encoding/csv and by us.
func TestExportCSV(t *testing.T) {
	w := create(t, "a.bdf", 360, lampClip(), chestLead())
	want := [][]int32{noise(lampClip(), 1000, 1), noise(chestLead(), 1000, 2)}
	want[1][10] = acquire.MissingCount
	must(t, w.Write(want, 0))
	must(t, w.Gap(1000, 1000, "unplugged"))
	must(t, w.Write([][]int32{want[0][:100], want[1][:100]}, 2000))
	must(t, w.Close())
	f := mustOpen(t, w.Path())
	for _, counts := range []bool{false, true} {
		var b bytes.Buffer
		must(t, ExportCSV(&b, f, ExportOptions{Counts: counts}))
		r := csv.NewReader(bytes.NewReader(b.Bytes()))
		r.Comment = '#'
		rows, err := r.ReadAll()
		must(t, err)
		if len(rows) != 1101 || rows[0][0] != "time_s" {
			t.Fatalf("%d rows, first %q", len(rows), rows[0])
		}
		if !counts {
			if rows[0][1] != "pulse [V]" {
				t.Errorf("header %q", rows[0])
			}
			if rows[11][2] != "" {
				t.Errorf("a missing sample is %q", rows[11][2])
			}
			for i, row := range rows[1:1001] {
				x, err := strconv.ParseFloat(row[1], 64)
				must(t, err)
				if math.Abs(x-float64(want[0][i])*5/1024) > 5.0/1024/100 {
					t.Fatalf("row %d: %s V for count %d", i, row[1], want[0][i])
				}
			}
		}
		path := filepath.Join(t.TempDir(), "a.csv")
		must(t, os.WriteFile(path, b.Bytes(), 0o644))
		back := mustOpen(t, path)
		if back.Len() != f.Len() || back.Describe().ClaimedRateHz != 360 || len(back.Gaps()) != 1 || back.Gaps()[0] != (Gap{1000, 1000}) {
			t.Fatalf("counts %v: %d samples at %g Hz, gaps %v", counts, back.Len(), back.Describe().ClaimedRateHz, back.Gaps())
		}
		if counts {
			sameCounts(t, all(t, back), all(t, f))
			if back.Describe().Channels[1] != f.Describe().Channels[1] {
				t.Errorf("channel %+v", back.Describe().Channels[1])
			}
			continue
		}
		a, b2 := all(t, f), all(t, back)
		for c := range a {
			for i := range a[c] {
				if (a[c][i] == acquire.MissingCount) != (b2[c][i] == acquire.MissingCount) {
					t.Fatalf("channel %d sample %d: missing in one", c, i)
				}
				if x, y := f.info.Channels[c].Value(a[c][i]), back.info.Channels[c].Value(b2[c][i]); a[c][i] != acquire.MissingCount && math.Abs(x-y) > f.info.Channels[c].VoltsPerCount/50 {
					t.Fatalf("channel %d sample %d: %g V, want %g", c, i, y, x)
				}
			}
		}
	}
}

// WAV both ways through sox.
func TestWAVThroughSox(t *testing.T) {
	sox := needTool(t, "sox")
	for _, tc := range []struct {
		file string
		ch   acquire.Channel
	}{
		{"a.bdf", acquire.Channel{Label: "line", MinCount: -32768, MaxCount: 32767}},
		{"a.bdf", chestLead()},
	} {
		w := create(t, tc.file, 8000, tc.ch, tc.ch)
		want := [][]int32{noise(tc.ch, 8001, 1), noise(tc.ch, 8001, 2)}
		must(t, w.Write(want, 0))
		must(t, w.Close())
		dir := t.TempDir()
		ours := filepath.Join(dir, "ours.wav")
		must(t, Convert(w.Path(), ours, OpenOptions{}, ExportOptions{}))
		sameCounts(t, all(t, mustOpen(t, ours)), want)
		// sox gives 32-bit samples, the counts shifted to the top.
		raw := filepath.Join(dir, "ours.raw")
		run(t, sox, ours, "-t", "raw", "-e", "signed-integer", "-b", "32", "-L", raw)
		b, err := os.ReadFile(raw)
		must(t, err)
		shift := 16
		if tc.ch.MaxCount > 1<<15 {
			shift = 8
		}
		if len(b) != 8001*8 {
			t.Fatalf("sox reads %d bytes, want %d", len(b), 8001*8)
		}
		for i := range 8001 {
			for c := range 2 {
				if got := int32(binary.LittleEndian.Uint32(b[8*i+4*c:])) >> shift; got != want[c][i] {
					t.Fatalf("sox reads sample %d of channel %d as %d, want %d", i, c, got, want[c][i])
				}
			}
		}
		for _, kind := range [][]string{{"-e", "signed-integer", "-b", "16"}, {"-e", "signed-integer", "-b", "24"}, {"-e", "signed-integer", "-b", "32"},
			{"-e", "unsigned-integer", "-b", "8"}, {"-e", "floating-point", "-b", "32"}, {"-e", "floating-point", "-b", "64"}} {
			path := filepath.Join(dir, "theirs.wav")
			args := append([]string{"-D", ours}, kind...)
			run(t, sox, append(args, path)...)
			run(t, sox, "-D", path, "-t", "raw", "-e", "signed-integer", "-b", "32", "-L", raw)
			b, err := os.ReadFile(raw)
			must(t, err)
			f := mustOpen(t, path)
			if f.Len() != 8001 || f.Describe().ClaimedRateHz != 8000 {
				t.Fatalf("%v: %d samples at %g Hz", kind, f.Len(), f.Describe().ClaimedRateHz)
			}
			counts := all(t, f)
			bits, _ := strconv.Atoi(kind[3])
			shift := 32 - bits
			if kind[1] == "floating-point" {
				shift = 8 // 1.0 is 2^23
			}
			for i := range 8001 {
				for c := range 2 {
					v := int32(binary.LittleEndian.Uint32(b[8*i+4*c:]))
					if v == math.MaxInt32 && shift == 8 {
						continue // sox cuts 1.0 to the greatest integer
					}
					if want := max(v>>shift, -math.MaxInt32); counts[c][i] != want {
						t.Fatalf("%v: sample %d of channel %d is %d, sox says %d", kind, i, c, counts[c][i], want)
					}
				}
			}
			f.Close()
		}
	}
}
