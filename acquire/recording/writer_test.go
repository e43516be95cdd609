package recording

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire"
)

func create(t testing.TB, name string, rate float64, channels ...acquire.Channel) *Writer {
	t.Helper()
	w, err := Create(filepath.Join(t.TempDir(), name), Header{
		Info:    acquire.Info{Address: "serial:/dev/ttyACM0", Name: "lamp clip", ClaimedRateHz: rate, Channels: channels},
		Started: anEvening, NoSync: true, Settings: map[string]any{"hum": 50},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Close() })
	return w
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// Blocks of any size give the same file, and every count comes back, at whole
// and broken rates, for 16 and 24 bits, for scales known and unknown.
func TestWriterRoundTrip(t *testing.T) {
	printed := acquire.Channel{Label: "temperature of the lamp, left", Digits: 3}
	full := acquire.Channel{Label: "line", MinCount: -32768, MaxCount: 32767}
	wide := acquire.Channel{Label: "weigh cell, 24 bits", Unit: "V", VoltsPerCount: 5.0 / (1 << 24), MinCount: 0, MaxCount: 1<<24 - 1}
	wider := acquire.Channel{Label: "millivolts", Digits: 5, MinCount: -1<<31 + 1, MaxCount: 1<<31 - 1}
	for _, tc := range []struct {
		name     string
		rate     float64
		channels []acquire.Channel
	}{
		{"a.edf", 250, []acquire.Channel{lampClip()}},
		{"a.edf", 249.3712, []acquire.Channel{lampClip(), lampClip()}},
		{"a.bdf", 1000, []acquire.Channel{lampClip(), chestLead()}},
		{"a.bdf", 125, []acquire.Channel{printed}},
		{"a.bdf", 44100, []acquire.Channel{full, full}},
		{"a.bdf", 0.5, []acquire.Channel{printed}},
		{"a.bdf", 500, []acquire.Channel{lampClip(), wide, chestLead(), wider}},
		{"a.bdf", 48000, []acquire.Channel{wider, wide}},
		{"a.bdf", 48000, []acquire.Channel{chestLead(), chestLead(), chestLead(), chestLead()}},
	} {
		n := int(3.7*tc.rate) + 3
		want := make([][]int32, len(tc.channels))
		for c := range want {
			want[c] = noise(tc.channels[c], n, uint64(c))
		}
		var files [][]byte
		for _, size := range []int{n, 1, 7, 1001} {
			w := create(t, tc.name, tc.rate, tc.channels...)
			for at := 0; at < n; at += size {
				part := make([][]int32, len(want))
				for c := range want {
					part[c] = want[c][at:min(at+size, n)]
				}
				must(t, w.Write(part, int64(at)))
			}
			must(t, w.Close())
			must(t, w.Close())
			b, err := os.ReadFile(w.Path())
			must(t, err)
			files = append(files, b)
			f := mustOpen(t, w.Path())
			if f.Len() != int64(n) {
				t.Fatalf("%s at %g Hz: %d samples, want %d", tc.name, tc.rate, f.Len(), n)
			}
			sameCounts(t, all(t, f), want)
			info := f.Describe()
			for c, ch := range tc.channels {
				got := info.Channels[c]
				if ch.Kind == "" {
					got.Kind = ""
				}
				if got != ch {
					t.Errorf("channel %+v, want %+v", info.Channels[c], ch)
				}
			}
			if info.ClaimedRateHz != tc.rate || !info.Started.Equal(anEvening) || string(f.Settings()) != `{"hum":50}` {
				t.Errorf("rate %v, start %v, settings %s", info.ClaimedRateHz, info.Started, f.Settings())
			}
			if len(f.Remarks()) > 0 {
				t.Errorf("remarks: %q", f.Remarks())
			}
			f.Close()
		}
		for _, b := range files[1:] {
			if !bytes.Equal(b, files[0]) {
				t.Errorf("%s at %g Hz: the file depends on the block size", tc.name, tc.rate)
			}
		}
		if size := recordSize(t, files[0]); size > 61440 {
			t.Errorf("%g Hz: records of %d bytes, EDF allows 61440", tc.rate, size)
		}
	}
}

// field reads a header field by the offsets of the EDF specification.
func field(b []byte, offset, width int) string {
	return strings.TrimSpace(string(b[offset : offset+width]))
}

func recordSize(t testing.TB, b []byte) int {
	ns, err := strconv.Atoi(field(b, 252, 4))
	must(t, err)
	width := 2
	if b[0] == 255 {
		width = 3
	}
	size := 0
	for i := range ns {
		n, err := strconv.Atoi(field(b, 256+ns*216+8*i, 8))
		must(t, err)
		size += n * width
	}
	return size
}

// The header, field by field, as the specification of EDF+ lists them.
func TestWriterHeader(t *testing.T) {
	w := create(t, "a.edf", 250, lampClip())
	must(t, w.Write([][]int32{make([]int32, 400)}, 0))
	b, err := os.ReadFile(w.Path())
	must(t, err)
	if got := field(b, 236, 8); got != "-1" {
		t.Errorf("record count %q while recording, the specification wants -1", got)
	}
	must(t, w.Close())
	b, err = os.ReadFile(w.Path())
	must(t, err)
	for _, f := range []struct {
		what          string
		offset, width int
		want          string
	}{
		{"version", 0, 8, "0"}, {"patient", 8, 80, "X X X X"}, {"recording", 88, 80, "Startdate 12-MAR-2026 X X Pulsewright lamp_clip"},
		{"date", 168, 8, "12.03.26"}, {"time", 176, 8, "19.42.05"}, {"bytes", 184, 8, "768"}, {"reserved", 192, 44, "EDF+C"},
		{"records", 236, 8, "1"}, {"duration", 244, 8, "1.6"}, {"signals", 252, 4, "2"},
		{"label", 256, 16, "pulse"}, {"label", 272, 16, "EDF Annotations"}, {"dimension", 256 + 192, 8, "V"},
	} {
		if got := field(b, f.offset, f.width); got != f.want {
			t.Errorf("%s is %q, want %q", f.what, got, f.want)
		}
	}
	for i, c := range b[:768] {
		if c < 32 || c > 126 {
			t.Errorf("header byte %d is %d, characters 32 to 126 are allowed", i, c)
		}
	}
	// 5 V / 1024 is exact in 8 characters with suitable limits.
	number := func(offset int) float64 {
		x, err := strconv.ParseFloat(field(b, offset, 8), 64)
		must(t, err)
		return x
	}
	physical := number(256+2*112) - number(256+2*104)
	digital := number(256+2*128) - number(256+2*120)
	if physical/digital != 5.0/1024 {
		t.Errorf("scale %g, want %g", physical/digital, 5.0/1024)
	}
}

func TestWriterMissingAndGaps(t *testing.T) {
	const m = acquire.MissingCount
	for _, channels := range [][]acquire.Channel{{lampClip(), lampClip()}, {lampClip(), chestLead()}} {
		name := "a.edf"
		if Needs24Bits(channels) {
			name = "a.bdf"
		}
		w := create(t, name, 100, channels...)
		want := make([][]int32, 2)
		add := func(n int) {
			first := int64(len(want[0]))
			part := [][]int32{noise(channels[0], n, uint64(first)), noise(channels[1], n, uint64(first)+1)}
			part[0][n/3] = m
			for i := n / 2; i < n/2+n/4; i++ {
				part[1][i] = m
			}
			must(t, w.Write(part, first))
			for c := range want {
				want[c] = append(want[c], part[c]...)
			}
		}
		skip := func(n int) {
			for range n {
				want[0], want[1] = append(want[0], m), append(want[1], m)
			}
		}
		add(250)
		must(t, w.Gap(250, 20, "")) // within a record
		skip(20)
		add(130) // to 400, a record's end
		must(t, w.Annotate(399, 0, "before the gap"))
		must(t, w.Gap(400, 1, "")) // one sample at a record's end
		skip(1)
		add(60)
		skip(12345) // by position alone, out of a record
		add(1)
		must(t, w.Annotate(int64(len(want[0]))-1, 50, "after the gap"))
		add(333)
		must(t, w.Gap(int64(len(want[0])), 5000, "unplugged"))
		skip(5000)
		if w.Len() != int64(len(want[0])) {
			t.Fatalf("Len %d, want %d", w.Len(), len(want[0]))
		}
		must(t, w.Close())
		f := mustOpen(t, w.Path())
		if f.Len() != int64(len(want[0])) {
			t.Fatalf("%d samples, want %d; %v", f.Len(), len(want[0]), f.segments)
		}
		sameCounts(t, all(t, f), want)
		// Windows across everything.
		for from := int64(0); from < f.Len(); from += 37 {
			got := [][]int32{make([]int32, 50), nil}
			n, _ := f.ReadAt(got, from)
			for i, v := range got[0][:n] {
				if v != want[0][from+int64(i)] {
					t.Fatalf("sample %d is %d, want %d", from+int64(i), v, want[0][from+int64(i)])
				}
			}
		}
		texts := map[string]int64{}
		for _, a := range f.Annotations() {
			texts[a.Text] = a.Sample
		}
		for text, at := range map[string]int64{"before the gap": 399, "after the gap": 250 + 20 + 130 + 1 + 60 + 12345, "gap: unplugged": 13140, textEnd: 18140} {
			if got, ok := texts[text]; !ok || got != at {
				t.Errorf("%q at %d (%v), want %d", text, got, ok, at)
			}
		}
		if notes := f.NotesBetween(0, f.Len()); len(notes) != 2 || notes[0] != (acquire.Note{Sample: 399, Text: "before the gap"}) || notes[1].Text != "after the gap" {
			t.Errorf("notes %v", notes)
		}
		b, _ := os.ReadFile(w.Path())
		if got := field(b, 192, 44)[3:]; got != "+D" {
			t.Errorf("the header says %q, want +D", got)
		}
	}
}

// A burst that no record holds goes into the records after it; onsets and
// texts stay, long and foreign ones too.
func TestWriterAnnotations(t *testing.T) {
	w := create(t, "a.edf", 100, lampClip())
	long := strings.Repeat("Übung mit Lämpchen, 脈拍 «0,5 V» ", 60)
	want := map[string]int64{}
	for i := range 300 {
		text := fmt.Sprintf("note %d", i)
		must(t, w.Annotate(int64(i/3), 0, text))
		want[text] = int64(i / 3)
	}
	must(t, w.Annotate(150, 25, long))
	want[strings.TrimSpace(long)] = 150
	must(t, w.Annotate(160, 0, "line\r\nend\x00\x14\x15 and\x7f bell\a"))
	want["line / end    and  bell"] = 160
	must(t, w.Annotate(170, 0, BeatText(acquire.KindPulse, 0.875, -1)))
	want["beat pulse 0.88"] = 170
	must(t, w.Write([][]int32{make([]int32, 250)}, 0))
	must(t, w.Close())
	f := mustOpen(t, w.Path())
	if f.Len() != 250 {
		t.Errorf("%d samples, want 250", f.Len())
	}
	got := map[string]int64{}
	for _, a := range f.Annotations() {
		got[a.Text] = a.Sample
		if a.OnsetSeconds != float64(a.Sample)/100 {
			t.Errorf("%q: onset %g s for sample %d at 100 Hz", a.Text, a.OnsetSeconds, a.Sample)
		}
		if a.Sample == 150 && a.DurationSeconds != 0.25 {
			t.Errorf("duration %g s, want 0.25", a.DurationSeconds)
		}
	}
	for text, at := range want {
		if s, ok := got[text]; !ok || s != at {
			t.Errorf("%q at %d (%v), want %d", text, s, ok, at)
		}
	}
	if kind, q, _, ok := ParseBeat("beat pulse 0.88"); !ok || kind != "pulse" || q != 0.88 {
		t.Errorf("beat read as %q %g %v", kind, q, ok)
	}
}

// The rate is corrected while recording; samples and the places of
// annotations stay.
func TestWriterRate(t *testing.T) {
	for _, gap := range []int64{0, 777} {
		w := create(t, "a.edf", 250, lampClip())
		data := noise(lampClip(), 250*40, 1)
		at := int64(0)
		for i := range 40 {
			must(t, w.Write([][]int32{data[250*i : 250*i+250]}, at))
			must(t, w.Annotate(at+17, 0, fmt.Sprintf("beat %d", i)))
			at += 250
			must(t, w.SetRate(243.75+0.01*float64(i)))
			if i == 20 {
				at += gap
			}
		}
		must(t, w.SetRate(243.8912))
		must(t, w.Close())
		if err := w.SetRate(250); !errors.Is(err, os.ErrClosed) {
			t.Errorf("after Close: %v", err)
		}
		b, _ := os.ReadFile(w.Path())
		if got := field(b, 244, 8); gap != 0 && got != "1.025047" || gap == 0 && got != "41.00189" { // 250 / 243.8912 = 1.0250472..., and 40 times as much

			t.Errorf("record duration %q", got)
		}
		f := mustOpen(t, w.Path())
		if f.Describe().ClaimedRateHz != 243.8912 || f.Len() != at {
			t.Errorf("rate %v, %d samples, want 243.8912, %d", f.Describe().ClaimedRateHz, f.Len(), at)
		}
		counts := all(t, f)[0]
		var got []int32
		for _, v := range counts {
			if v != acquire.MissingCount {
				got = append(got, v)
			}
		}
		sameCounts(t, [][]int32{got}, [][]int32{data})
		n := 0
		for _, a := range f.Annotations() {
			var i int
			if _, err := fmt.Sscanf(a.Text, "beat %d", &i); err != nil {
				continue
			}
			n++
			want := int64(250*i + 17)
			if i > 20 {
				want += gap
			}
			if a.Sample != want || !near(a.OnsetSeconds, float64(want)/243.8912, 1e-9) {
				t.Errorf("%q at %d, %g s; want %d", a.Text, a.Sample, a.OnsetSeconds, want)
			}
		}
		if n != 40 {
			t.Errorf("%d beats, want 40", n)
		}
		if err := create(t, "b.edf", 250, lampClip()).SetRate(10); err == nil {
			t.Error("a rate of 10 Hz for 250 was taken")
		}
	}
}

// Records full of annotations hold them when a correction makes onsets longer:
// 5 to 9.9 s become 10 to 19.8 s.
func TestWriterRateMakesTextLonger(t *testing.T) {
	w := create(t, "a.edf", 100, lampClip())
	w.retimeAt = 1 << 40
	n := 0
	for i := range 20 {
		for j := range 60 {
			// Texts of all lengths, so that some block is full to the last byte.
			must(t, w.Annotate(int64(100*i+j), 1+int64(j), fmt.Sprintf("%d %s", 100*i+j, strings.Repeat("x", (i*60+j)%23))))
			n++
		}
		must(t, w.Write([][]int32{make([]int32, 100)}, int64(100*i)))
	}
	must(t, w.SetRate(50))
	must(t, w.Close())
	for _, a := range mustOpen(t, w.Path()).Annotations() {
		var at int64
		if k, _ := fmt.Sscanf(a.Text, "%d ", &at); k == 1 {
			n--
			if a.Sample != at {
				t.Errorf("%q at %d", a.Text, a.Sample)
			}
		}
	}
	if n != 0 {
		t.Errorf("%d annotations are lost", n)
	}
}

// stopDisk lets so many writes through and then fails like a full disk or a
// crash.
type stopDisk struct {
	*os.File
	left int
	err  error
}

func (d *stopDisk) WriteAt(b []byte, at int64) (int, error) {
	if d.left--; d.left < 0 {
		return 0, d.err
	}
	return d.File.WriteAt(b, at)
}

// A correction of the rate that is cut after any write leaves every sample and
// gap in its place.
func TestWriterCutWhileRetiming(t *testing.T) {
	data := noise(lampClip(), 100*12, 5)
	for stop := range 60 {
		w := create(t, "a.edf", 100, lampClip())
		d := &stopDisk{w.out.(*os.File), 1 << 30, errors.New("cut")}
		w.out = d
		at := int64(0)
		w.retimeAt = 1 << 40
		for i := range 12 {
			must(t, w.Write([][]int32{data[100*i : 100*i+100]}, at))
			must(t, w.Annotate(at+50, 0, fmt.Sprintf("at %d", at+50))) // in the next record
			at += 100
			if i%4 == 3 && i < 11 {
				at += 1000
			}
		}
		must(t, w.SetRate(97.3))
		d.left = stop
		done := w.retime() == nil
		if w.printed == "1" {
			t.Fatal("nothing was corrected")
		}
		f := mustOpen(t, w.Path())
		if f.Len() != at {
			t.Fatalf("after %d writes: %d samples, want %d; %v", stop, f.Len(), at, f.segments)
		}
		counts := all(t, f)[0]
		for i, v := range data {
			if counts[i+i/400*1000] != v {
				t.Fatalf("after %d writes: sample %d moved", stop, i)
			}
		}
		for _, a := range f.Annotations() {
			var n int64
			if k, _ := fmt.Sscanf(a.Text, "at %d", &n); k == 1 && a.Sample != n {
				t.Errorf("after %d writes: %q at %d", stop, a.Text, a.Sample)
			}
		}
		if f.Close(); done {
			return
		}
	}
	t.Fatal("never done")
}

func TestWriterRefuses(t *testing.T) {
	dir := t.TempDir()
	info := acquire.Info{ClaimedRateHz: 250, Channels: []acquire.Channel{chestLead()}}
	for _, tc := range []struct {
		path string
		h    Header
		want string
	}{
		{"a.edf", Header{Info: info}, "name the file .bdf"},
		{"a.csv", Header{Info: info}, "name it .edf or .bdf"},
		{"a.bdf", Header{Info: acquire.Info{Channels: info.Channels}}, "measure the rate"},
		{"a.bdf", Header{Info: acquire.Info{ClaimedRateHz: 250}}, "0 channels"},
		{"no/such/a.bdf", Header{Info: info}, "choose a folder that exists"},
	} {
		_, err := Create(filepath.Join(dir, tc.path), tc.h)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q in it", tc.path, err, tc.want)
		}
	}
	w, err := Create(filepath.Join(dir, "a.bdf"), Header{Info: info})
	must(t, err)
	if _, err := Create(filepath.Join(dir, "a.bdf"), Header{Info: info}); !errors.Is(err, os.ErrExist) {
		t.Errorf("over a file that is there: %v", err)
	}
	must(t, w.Write([][]int32{make([]int32, 10)}, 0))
	if err := w.Write([][]int32{make([]int32, 10)}, 9); err == nil {
		t.Error("a block over samples already written was taken")
	}
	if err := w.Write([][]int32{make([]int32, 10), make([]int32, 10)}, 10); err == nil {
		t.Error("a block of two channels was taken")
	}
	must(t, w.Close())
	if f := mustOpen(t, filepath.Join(dir, "a.bdf")); f.Len() != 10 {
		t.Errorf("%d samples, want 10", f.Len())
	}
}

// A count that the file cannot hold is said and missing, never another count.
func TestWriterCountsThatDoNotFit(t *testing.T) {
	w := create(t, "a.bdf", 10, acquire.Channel{Label: "x"})
	must(t, w.Write([][]int32{{1, 1 << 23, -1 << 23, 1<<23 - 1, -1<<23 + 1, -1 << 30, 7}}, 0))
	must(t, w.Close())
	f := mustOpen(t, w.Path())
	const m = acquire.MissingCount
	sameCounts(t, all(t, f), [][]int32{{1, m, m, 1<<23 - 1, -1<<23 + 1, m, 7}})
	if notes := f.NotesBetween(0, 7); len(notes) != 1 || !strings.Contains(notes[0].Text, "8388608") {
		t.Errorf("notes %v", notes)
	}
}

func TestFileName(t *testing.T) {
	for _, tc := range []struct{ name, want string }{
		{"lamp clip", "2026-03-12 19.42.05 lamp clip.edf"},
		{"../../etc: x?", "2026-03-12 19.42.05 etc x.edf"},
		{"Brustgurt Ü", "2026-03-12 19.42.05 Brustgurt Ü.edf"},
		{"  ", "2026-03-12 19.42.05.edf"},
	} {
		if got := FileName(anEvening, tc.name, []acquire.Channel{lampClip()}); got != tc.want {
			t.Errorf("%q gives %q, want %q", tc.name, got, tc.want)
		}
	}
}

// TestUnknownStart: a recording whose start is not known says so, and is not taken for
// one of 1985, the year EDF+ writes then (Kemp & Olivan 2003, 2.1.3.3).
func TestUnknownStart(t *testing.T) {
	for _, name := range []string{"a.edf", "a.bdf"} {
		path := filepath.Join(t.TempDir(), name)
		w, err := Create(path, Header{Info: acquire.Info{ClaimedRateHz: 250, Channels: []acquire.Channel{lampClip()}}, NoSync: true})
		must(t, err)
		must(t, w.Write([][]int32{noise(lampClip(), 300, 1)}, 0))
		must(t, w.Close())
		f := mustOpen(t, path)
		if s := f.Describe().Started; !s.IsZero() {
			t.Errorf("%s: it started %v", name, s)
		}
		f.Close()
	}
}
