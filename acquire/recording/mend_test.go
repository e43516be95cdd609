package recording

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
)

// longSettings are as long as those of three channels.
func longSettings() map[string]string {
	return map[string]string{"path": strings.Repeat("drift hum smooth ", 250)}
}

// TestMend: a file as it lies on the disk at any moment of a recording, its program gone,
// is closed when it is seen again. Everything that was brought to the disk is in it, libedf
// 1.23 reads it, and it is no longer there than here.
func TestMend(t *testing.T) {
	dump := libedf(t, "dump")
	for _, n := range []int{0, 1, 130, 999, 1000, 1001, 5300, 70_000} {
		path := filepath.Join(t.TempDir(), "a.edf")
		w, err := Create(path, Header{Info: acquire.Info{ClaimedRateHz: 1000, Channels: []acquire.Channel{lampClip()}, Name: "lamp clip", Address: "file:/home/pupil/a.edf"},
			Started: anEvening, Patient: "P7", Settings: longSettings()})
		must(t, err)
		counts := noise(lampClip(), n, 5)
		want := map[string]int64{}
		for at := 0; at < n; at += 100 {
			must(t, w.Write([][]int32{counts[at:min(at+100, n)]}, int64(at)))
			text := fmt.Sprintf("note at %d", at)
			must(t, w.Annotate(int64(at), 0, text))
			want[text] = int64(at)
		}
		must(t, w.SetRate(1000.25))
		must(t, w.Sync())
		if changed, err := Mend(path); changed || !errors.Is(err, ErrInUse) {
			t.Errorf("a file that is being written: changed %v, %v", changed, err)
		}
		b, err := os.ReadFile(path)
		must(t, err)
		must(t, w.Close())
		for what, data := range map[string][]byte{"killed": b, "killed while writing": append(slices.Clone(b), b[len(b)-300:]...),
			"killed before it was cut": append(slices.Clone(b), b[len(b)-recordSize(t, b):]...)} {
			left := filepath.Join(t.TempDir(), "left.edf")
			must(t, os.WriteFile(left, data, 0o600))
			changed, err := Mend(left)
			must(t, err)
			if again, err := Mend(left); !changed || again || err != nil {
				t.Errorf("%s at %d: changed %v, again %v %v", what, n, changed, again, err)
			}
			checkMended(t, left, counts, want)
			checkOutside(t, run(t, dump, left), n, len(want))
		}
	}
}

// checkMended reads a mended file back.
func checkMended(t *testing.T, path string, counts []int32, notes map[string]int64) {
	t.Helper()
	f := mustOpen(t, path)
	if f.Unclosed() || f.Len() != int64(len(counts)) || len(f.Remarks()) > 0 {
		t.Errorf("unclosed %v, %d samples of %d, remarks %q", f.Unclosed(), f.Len(), len(counts), f.Remarks())
	}
	sameCounts(t, all(t, f), [][]int32{counts})
	found := 0
	for _, a := range f.Annotations() {
		if at, ok := notes[a.Text]; ok && at == a.Sample {
			found++
		} else if IsNote(a.Text) {
			t.Errorf("a note %q at %d that nobody made", shorten(a.Text), a.Sample)
		}
	}
	if found != len(notes) {
		t.Errorf("%d of %d notes", found, len(notes))
	}
	if !strings.Contains(string(f.Settings()), longSettings()["path"]) || !f.Describe().Started.Equal(anEvening) {
		t.Errorf("started %v, settings of %d bytes", f.Describe().Started, len(f.Settings()))
	}
	b, err := os.ReadFile(path)
	must(t, err)
	if got := field(b, 8, 80); got != "X X X P7" {
		t.Errorf("patient %q", got)
	}
	if bytes.Contains(b, []byte("/home/pupil")) {
		t.Error("the file tells where on this computer something lies")
	}
}

// checkOutside looks at what libedf reads: notes, start with its fraction, length.
func checkOutside(t *testing.T, out string, n, notes int) {
	t.Helper()
	samples := strings.Count(out, "S 0 ")
	if most := max(n, 1); samples < n || n < 10_000 && samples > most || samples >= n+1000 {
		t.Errorf("libedf reads %d samples, %d were recorded", samples, n)
	}
	if got := strings.Count(out, " note at "); got != notes {
		t.Errorf("libedf reads %d notes of %d", got, notes)
	}
	if !strings.Contains(out, "T 19:42:05 2500000\n") { // in units of 100 ns
		t.Errorf("libedf reads another start than 19:42:05.25: %q", out[:min(len(out), 60)])
	}
}

// TestMendInsideACorrection: a file left in the middle of a correction of its rate is
// written anew, with each sample and note in its place.
func TestMendInsideACorrection(t *testing.T) {
	data := noise(lampClip(), 4000, 5)
	for stop := 1; stop < 40; stop += 3 {
		w := create(t, "a.edf", 100, lampClip())
		d := &stopDisk{w.out.(*os.File), 1 << 30, errors.New("cut")}
		w.out, w.retimeAt = d, 1<<40
		must(t, w.Write([][]int32{data[:3950]}, 0))
		must(t, w.Annotate(3920, 0, "late"))
		must(t, w.checkpoint())
		must(t, w.SetRate(97.3))
		d.left = stop
		if w.retime() == nil {
			break
		}
		b, err := os.ReadFile(w.Path())
		must(t, err)
		path := filepath.Join(t.TempDir(), "left.edf")
		must(t, os.WriteFile(path, b, 0o600))
		_, err = Mend(path)
		must(t, err)
		f := mustOpen(t, path)
		if f.Len() != 3950 || f.Unclosed() || math.Abs(f.Describe().ClaimedRateHz-97.3) > 1e-4 && f.Describe().ClaimedRateHz != 100 {
			t.Errorf("after %d writes: %d samples at %g Hz", stop, f.Len(), f.Describe().ClaimedRateHz)
		}
		sameCounts(t, all(t, f), [][]int32{data[:3950]})
		late := slices.IndexFunc(f.Annotations(), func(a Annotation) bool { return a.Text == "late" && a.Sample == 3920 })
		if late < 0 {
			t.Errorf("after %d writes: %v", stop, f.Annotations())
		}
	}
}

// A beat of before the start is none at the start.
func TestNoBeatBeforeTheStart(t *testing.T) {
	w := create(t, "a.edf", 100, lampClip())
	must(t, w.Annotate(-40, 0, BeatText(acquire.KindPulse, 1, -1)))
	must(t, w.Annotate(-40, 0, "lamp on"))
	must(t, w.Annotate(60, 0, BeatText(acquire.KindPulse, 1, -1)))
	must(t, w.Write([][]int32{make([]int32, 100)}, 0))
	must(t, w.Close())
	var list []string
	for _, a := range mustOpen(t, w.Path()).Annotations() {
		list = append(list, fmt.Sprintf("%d %s", a.Sample, a.Text))
	}
	if !slices.Contains(list, "0 lamp on") || slices.Contains(list, "0 beat pulse 1.00") || !slices.Contains(list, "60 beat pulse 1.00") {
		t.Errorf("%q", list)
	}
}

// TestWhole16BitsAgain: a file whose converter uses all of −32768 … 32767 becomes an EDF
// again with the same counts, limits and scale, upside down too; libedf reads the counts.
func TestWhole16BitsAgain(t *testing.T) {
	dump := libedf(t, "dump")
	for _, physical := range [][2]string{{"-3276.8", "3276.7"}, {"5", "-5"}} {
		path := filepath.Join(t.TempDir(), "foreign.edf")
		w := create(t, "a.edf", 100, acquire.Channel{Label: "chest lead", MinCount: -32768, MaxCount: 32767, Unit: "mmHg", VoltsPerCount: 0.1})
		want := noise(acquire.Channel{MinCount: -32768, MaxCount: 32767}, 1000, 3)
		must(t, w.Write([][]int32{want}, 0))
		must(t, w.Close())
		b, err := os.ReadFile(w.Path())
		must(t, err)
		// Made another program's: no settings, no marks, its own limits.
		copy(b[256+2*104:], headerText(physical[0], 8))
		copy(b[256+2*112:], headerText(physical[1], 8))
		copy(b[256+2*224:], headerText("", 32))
		must(t, os.WriteFile(path, b, 0o600))
		f := mustOpen(t, path)
		scale := f.Describe().Channels[0].VoltsPerCount
		if (scale < 0) != (physical[1] == "-5") {
			t.Errorf("limits %v give %g a count", physical, scale)
		}
		sameCounts(t, all(t, f), [][]int32{want})
		out := filepath.Join(t.TempDir(), "again.edf")
		must(t, ExportEDF(out, f, ExportOptions{}))
		again := mustOpen(t, out)
		sameCounts(t, all(t, again), [][]int32{want})
		if a, b := again.Describe().Channels[0], f.Describe().Channels[0]; a != b {
			t.Errorf("channel %+v, was %+v", a, b)
		}
		got := 0
		for line := range strings.SplitSeq(run(t, dump, out), "\n") {
			var c, v int
			if n, _ := fmt.Sscanf(line, "S %d %d", &c, &v); n == 2 && got < len(want) && int32(v) == want[got] {
				got++
			}
		}
		if got != len(want) {
			t.Errorf("libedf reads %d samples of %d", got, len(want))
		}
	}
}

// TestLimits: what asks for more than any recording does is refused in words.
func TestLimits(t *testing.T) {
	zip := func(n int) string {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		z.Write([]byte("# rate 250 Hz\npulse\n"))
		line := bytes.Repeat([]byte("1\n"), 1<<19)
		for range n {
			z.Write(line)
		}
		z.Close()
		return b.String()
	}
	edf := func(offset int, text string) string {
		w := create(t, "a.edf", 250, lampClip())
		must(t, w.Write([][]int32{make([]int32, 400)}, 0))
		must(t, w.Close())
		b, err := os.ReadFile(w.Path())
		must(t, err)
		copy(b[256+2*224:], headerText("", 32)) // another program's
		copy(b[offset:], headerText(text, 8))
		return string(b)
	}
	for _, tc := range []struct{ name, content, want string }{
		{"a.edf", edf(256+2*112, "1e308"), "correct its limits"},
		{"a.edf", edf(256+2*104, "-1e308"), "correct its limits"},
		{"a.edf", edf(256+2*112, "1e17"), "correct its limits"},
		{"a.hea", "a 1 250 3\na.dat 16 5e-324 16 0\n", "correct its limits or its gain"},
		{"a.csv", "# rate 1e300 Hz\npulse\n1\n2\n", "sample rate 1e+300 Hz"},
		{"a.csv", "# rate 1e-300 Hz\npulse\n1\n2\n", "sample rate 1e-300 Hz"},
		{"a.csv", jumpingCSV(1.76e9), "31 days"},
		{"a.csv.gz", zip(200), "unpacks to more than"},
		{"a.edf", edf(244, "4e6"), "days lie between"},
	} {
		path := filepath.Join(t.TempDir(), tc.name)
		must(t, os.WriteFile(path, []byte(tc.content), 0o600))
		must(t, os.WriteFile(filepath.Join(filepath.Dir(path), "a.dat"), make([]byte, 6), 0o600))
		f, err := Open(path)
		var format *FormatError
		if err == nil {
			f.Close()
		}
		if !errors.As(err, &format) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q in it", tc.name, err, tc.want)
		}
	}
	path := filepath.Join(t.TempDir(), "week.csv")
	must(t, os.WriteFile(path, []byte(jumpingCSV(7*86400)), 0o600))
	if f, err := Open(path); err != nil || len(f.Gaps()) != 1 {
		t.Errorf("a pause of a week is refused: %v", err)
	}
}

// jumpingCSV is 100 samples at 100 Hz with a jump of the clock in their middle.
func jumpingCSV(seconds float64) string {
	var b strings.Builder
	b.WriteString("time,pulse\n")
	for i := range 100 {
		x := float64(i) / 100
		if i >= 50 {
			x += seconds
		}
		fmt.Fprintf(&b, "%.2f,%d\n", x, i)
	}
	return b.String()
}

// TestSettlesByItself: a Writer brings samples and notes to the disk without being asked.
func TestSettlesByItself(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.edf")
	w, err := Create(path, Header{Info: acquire.Info{ClaimedRateHz: 1, Channels: []acquire.Channel{lampClip()}}, RateHz: 0.01, Started: time.Now(), Settings: longSettings()})
	must(t, err)
	defer w.Close()
	must(t, w.Annotate(0, 0, "early"))
	w.syncedAt = time.Now().Add(-settleEvery) // as if half a second had passed
	must(t, w.Write([][]int32{{7}}, 0))
	w.syncedAt = time.Now().Add(-settleEvery)
	must(t, w.Annotate(0, 0, "late"))
	f := mustOpen(t, path)
	if notes := f.NotesBetween(0, 1); f.Len() != 1 || fmt.Sprint(notes) != "[{0 early} {0 late}]" {
		t.Errorf("%d samples, notes %v", f.Len(), notes)
	}
}

// TestLongNoteCostsItself: a long text, be it near the end, makes a file longer by about itself, not by itself in each
// record; it, all that was said beside it and the samples are found again, and a file cut anywhere opens.
func TestLongNoteCostsItself(t *testing.T) {
	const seconds, rate = 120, 250
	long := `engine {"settings":{"board":"` + strings.Repeat("Widerstand 10 kΩ; ", 900) + `"}}`
	data := noise(lampClip(), seconds*rate, 1)
	noted := func(at int) string {
		w := create(t, "a.bdf", rate, lampClip())
		for i := range seconds {
			if i == at {
				must(t, w.Annotate(int64(i*rate), 0, long))
			}
			must(t, w.Annotate(int64(i*rate+100), 0, BeatText(acquire.KindPulse, 1, -1)))
			must(t, w.Write([][]int32{data[i*rate : i*rate+rate]}, int64(i*rate)))
		}
		must(t, w.Close())
		return w.Path()
	}
	size := func(path string) int64 {
		info, err := os.Stat(path)
		must(t, err)
		return info.Size()
	}
	without := size(noted(-1))
	for _, at := range []int{0, 60, 118} {
		path := noted(at)
		if got, most := size(path), without*3/2+int64(len(long)); got > most {
			t.Errorf("a note of %d bytes after %d s makes %d bytes of %d, at most %d", len(long), at, got, without, most)
		}
		f := mustOpen(t, path)
		sameCounts(t, all(t, f), [][]int32{data})
		if whole := f.store.(*edfStore).records; whole != seconds || len(f.Remarks()) > 0 {
			t.Errorf("%d s: %d records of a second, remarks %q", at, whole, f.Remarks())
		}
		beats, found := 0, false
		for _, a := range f.Annotations() {
			if _, _, _, ok := ParseBeat(a.Text); ok && a.Sample == int64(beats*rate+100) {
				beats++
			}
			found = found || a.Text == long && a.Sample == int64(at*rate)
		}
		if beats != seconds || !found {
			t.Errorf("%d s: %d beats in their place, the note found: %v", at, beats, found)
		}
		b, err := os.ReadFile(path)
		must(t, err)
		for cut := len(b) - 7; cut > 2000; cut -= 4999 {
			must(t, os.WriteFile(path, b[:cut], 0o600))
			f := mustOpen(t, path)
			n := f.Len()
			if sameCounts(t, all(t, f), [][]int32{data[:n]}); n != int64(cut-768)/int64(recordSize(t, b))*rate {
				t.Fatalf("cut at %d: %d samples", cut, n)
			}
		}
	}
}

// TestLibraryReadsLongNote: annotations that stand before the record they are about, as libedf reads them.
func TestLibraryReadsLongNote(t *testing.T) {
	dump := libedf(t, "dump")
	w := create(t, "a.bdf", 250, lampClip())
	for i := range 120 {
		if i == 118 {
			must(t, w.Annotate(118*250, 0, strings.Repeat("Widerstand 10 kΩ; ", 900)))
		}
		must(t, w.Annotate(int64(i*250+100), 0, BeatText(acquire.KindPulse, 1, -1)))
		must(t, w.Write([][]int32{noise(lampClip(), 250, 1)}, int64(i*250)))
	}
	must(t, w.Close())
	beats, pieces, all := 0, 0, 0
	for line := range strings.SplitSeq(run(t, dump, w.Path()), "\n") {
		f := strings.SplitN(line, " ", 4)
		if f[0] != "A" {
			continue
		}
		on, err := strconv.ParseFloat(f[1], 64)
		must(t, err)
		if strings.HasPrefix(f[3], "beat ") && near(on-math.Floor(on), 0.4, 1e-5) {
			beats++
		} else if _, n, _, ok := parsePiece(f[3]); ok && on > 117 {
			pieces, all = pieces+1, n
		}
	}
	if beats != 120 || pieces < 2 || pieces != all {
		t.Errorf("libedf finds %d beats of 120 and %d of %d pieces of the note in their place", beats, pieces, all)
	}
}
