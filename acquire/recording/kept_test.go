package recording

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// foreignEDF is an EDF+ file of a chest lead at 250 Hz and a finger at 125 Hz, 8 records of 1 s,
// of which the header promises one more: fields and layout as Kemp & Olivan, "European data
// format 'plus' (EDF+)", Clinical Neurophysiology 114 (2003) 1755–1761. It returns the samples.
func foreignEDF(t *testing.T, path string) (lead, finger []int16) {
	t.Helper()
	const records, ann = 8, 40
	var b strings.Builder
	pad := func(n int, s string) { fmt.Fprintf(&b, "%-*s", n, s) }
	pad(8, "0")
	pad(80, "LC-07 F 12-MAY-1990 Evening_class")
	pad(80, "Startdate 04-MAR-2025 E-12 TW bench_3")
	b.WriteString("04.03.2519.30.00")
	pad(8, fmt.Sprint(256*4))
	pad(44, "EDF+C")
	pad(8, fmt.Sprint(records+1))
	pad(8, "1")
	pad(4, "3")
	field := func(n int, a, b, c string) { pad(n, a); pad(n, b); pad(n, c) }
	field(16, "ECG lead", "finger pulse", "EDF Annotations")
	field(80, "AgCl electrodes", "lamp clip", "")
	field(8, "mV", "V", "")
	field(8, "-5", "0", "-1")
	field(8, "5", "5", "1")
	field(8, "-2048", "0", "-32768")
	field(8, "2047", "1023", "32767")
	field(80, "HP:0.05Hz LP:40Hz", "LP:8Hz", "")
	field(8, "250", "125", fmt.Sprint(ann/2))
	field(32, "", "", "")
	out := []byte(b.String())
	for r := range records {
		for i := range 250 {
			v := int16((i*37+r*11)%4000 - 2000)
			lead = append(lead, v)
			out = binary.LittleEndian.AppendUint16(out, uint16(v))
		}
		for i := range 125 {
			v := int16((i*53 + r*7) % 1000)
			finger = append(finger, v)
			out = binary.LittleEndian.AppendUint16(out, uint16(v))
		}
		tals := fmt.Sprintf("+%d\x14\x14\x00", r)
		if r == 2 {
			tals += "+2.5\x14the thumb\x14\x00"
		}
		out = append(out, append([]byte(tals), make([]byte, ann-len(tals))...)...)
	}
	if err := os.WriteFile(path, out, 0o600); err != nil {
		t.Fatal(err)
	}
	return lead, finger
}

// TestConvertKeepsRatesAndFields: from EDF+ to EDF+ and BDF+ each channel keeps its rate and
// samples, and the header what it said; the copy is not larger than the file but for our own
// annotations. libedf reads the same of it.
func TestConvertKeepsRatesAndFields(t *testing.T) {
	in := filepath.Join(t.TempDir(), "in.edf")
	lead, finger := foreignEDF(t, in)
	for _, ext := range []string{".edf", ".bdf"} {
		out := filepath.Join(t.TempDir(), "out"+ext)
		must(t, Convert(in, out, OpenOptions{}, ExportOptions{}))
		f := mustOpen(t, out)
		st := f.store.(*edfStore)
		if st.signals[0].samples != 2*st.signals[1].samples || f.Len() != 2000 || f.info.ClaimedRateHz != 250 {
			t.Errorf("%s: %d and %d samples in a record, %d positions at %g Hz", ext, st.signals[0].samples, st.signals[1].samples, f.Len(), f.info.ClaimedRateHz)
		}
		counts := all(t, f)
		for i := range counts[0] {
			if counts[0][i] != int32(lead[i]) || counts[1][i] != int32(finger[i/2]) {
				t.Fatalf("%s: sample %d is %d, %d; want %d, %d", ext, i, counts[0][i], counts[1][i], lead[i], finger[i/2])
			}
		}
		if k := f.kept; k.patient != "LC-07 F 12-MAY-1990 Evening_class" || k.recording != "Startdate 04-MAR-2025 E-12 TW bench_3" ||
			!slices.Equal(k.transducers, []string{"AgCl electrodes", "lamp clip"}) || !slices.Equal(k.prefilters, []string{"HP:0.05Hz LP:40Hz", "LP:8Hz"}) {
			t.Errorf("%s: the header says %+v", ext, k)
		}
		if len(f.Annotations()) == 0 || f.info.Started.Format("15:04") != "19:30" {
			t.Errorf("%s: %d annotations, began %v", ext, len(f.Annotations()), f.info.Started)
		}
		size := func(path string) int64 {
			info, err := os.Stat(path)
			must(t, err)
			return info.Size()
		}
		bytes := int64(2)
		if ext == ".bdf" {
			bytes = 3
		}
		if got, most := size(out), 1024+8*(375*bytes+int64(annotationSize)+2); got > most {
			t.Errorf("%s: %d bytes, at most %d", ext, got, most)
		}
		again := filepath.Join(t.TempDir(), "again"+ext)
		must(t, Convert(out, again, OpenOptions{}, ExportOptions{From: 501}))
		g := mustOpen(t, again)
		if part := all(t, g); g.Len() != 1500 || part[1][0] != int32(finger[250]) || part[0][0] != int32(lead[500]) {
			t.Errorf("%s: from sample 501, %d samples, the first %d, %d", ext, g.Len(), part[0][0], part[1][0])
		}
	}
}

// TestLibraryReadsOwnRates: the copy as libedf reads it.
func TestLibraryReadsOwnRates(t *testing.T) {
	dump := libedf(t, "dump")
	in := filepath.Join(t.TempDir(), "in.edf")
	lead, finger := foreignEDF(t, in)
	for _, ext := range []string{".edf", ".bdf"} {
		out := filepath.Join(t.TempDir(), "out"+ext)
		must(t, Convert(in, out, OpenOptions{}, ExportOptions{}))
		want, seen := [][]int16{lead, finger}, [2]int{}
		for line := range strings.SplitSeq(run(t, dump, out), "\n") {
			var c, v int
			if n, _ := fmt.Sscanf(line, "S %d %d", &c, &v); n != 2 {
				continue
			}
			if k := seen[c]; k >= len(want[c]) || int16(v) != want[c][k] {
				t.Fatalf("%s: libedf reads sample %d of signal %d as %d", ext, k, c, v)
			}
			seen[c]++
		}
		if seen != [2]int{2000, 1000} {
			t.Errorf("%s: libedf reads %d samples, want 2000 and 1000", ext, seen)
		}
	}
}

// TestExportTellsWhatIsDropped: samples alone have no fields and no annotations.
func TestExportTellsWhatIsDropped(t *testing.T) {
	in := filepath.Join(t.TempDir(), "in.edf")
	foreignEDF(t, in)
	for _, ext := range []string{".csv", ".wav", ".edf"} {
		var told []string
		must(t, Convert(in, filepath.Join(t.TempDir(), "out"+ext), OpenOptions{}, ExportOptions{Tell: func(s string) { told = append(told, s) }}))
		text := strings.Join(told, "\n")
		if want := ext != ".edf"; strings.Contains(text, "patient, recording, transducer, filters") != want || strings.Contains(text, "place for them: 1 note") != want ||
			strings.Contains(text, `"finger pulse" has 125 Hz; each sample is repeated`) != want || !want && text != "" {
			t.Errorf("%s: told %q", ext, text)
		}
	}
}

// TestPlainFieldsKept: free text of a plain EDF stays as it is where EDF+ has room for it; what is cut or changed is told.
func TestPlainFieldsKept(t *testing.T) {
	in := filepath.Join(t.TempDir(), "in.edf")
	foreignEDF(t, in)
	whole, err := os.ReadFile(in)
	must(t, err)
	for _, c := range []struct {
		patient, recording, newPatient, newRecording string
		told                                         []string
	}{
		{"Ada, 4711, bed 12", "Lamp clip rev B, lab 3", "X X X Ada, 4711, bed 12", "Startdate 04-MAR-2025 X X X Lamp clip rev B, lab 3", nil},
		{"LC-07 F 12-MAY-1990 Ada", "Startdate 04-MAR-2025 E-12 TW bench_3", "LC-07 F 12-MAY-1990 Ada", "Startdate 04-MAR-2025 E-12 TW bench_3", nil},
		{"", "", "X X X X", "Startdate 04-MAR-2025 X X Pulsewright in.edf", nil},
		{"Ada", strings.Repeat("lab ", 20)[:79], "X X X Ada", "Startdate 04-MAR-2025 X X X " + strings.Repeat("lab ", 13), []string{"field recording has room for 80"}},
		{strings.Repeat("p", 80), "lab 3", "X X X " + strings.Repeat("p", 74), "Startdate 04-MAR-2025 X X X lab 3", []string{"field patient has room for 80"}},
		{"Ada \xfcber", "", "X X X Ada _ber", "Startdate 04-MAR-2025 X X Pulsewright in.edf", []string{`"Ada über" became "X X X Ada _ber"`}},
	} {
		b := slices.Clone(whole)
		copy(b[8:], fmt.Sprintf("%-80s", c.patient))
		copy(b[88:], fmt.Sprintf("%-80s", c.recording))
		copy(b[192:], fmt.Sprintf("%-44s", "")) // a plain EDF, whose last signal is none of annotations
		must(t, os.WriteFile(in, b, 0o600))
		out := filepath.Join(t.TempDir(), "out.edf")
		var told []string
		must(t, Convert(in, out, OpenOptions{}, ExportOptions{Tell: func(s string) { told = append(told, s) }}))
		h, err := os.ReadFile(out)
		must(t, err)
		if p, r := strings.TrimRight(string(h[8:88]), " "), strings.TrimRight(string(h[88:168]), " "); p != c.newPatient || r != strings.TrimRight(c.newRecording, " ") {
			t.Errorf("%q, %q became %q, %q", c.patient, c.recording, p, r)
		}
		if len(told) != len(c.told) || len(told) > 0 && !strings.Contains(told[0], c.told[0]) {
			t.Errorf("%q, %q: told %q, want %q", c.patient, c.recording, told, c.told)
		}
	}
}

// TestNotesAndBeatsTold: what samples alone have no place for is told by what it is, of the stretch alone.
func TestNotesAndBeatsTold(t *testing.T) {
	w, err := Create(filepath.Join(t.TempDir(), "a.edf"), Header{Info: acquire.Info{ClaimedRateHz: 100, Channels: []acquire.Channel{{Label: "lead", MinCount: -100, MaxCount: 100}}}})
	must(t, err)
	must(t, w.Write([][]int32{make([]int32, 1000)}, 0))
	at := int64(100)
	for i, text := range []string{"first", BeatText("ecg", 1, 0), BeatText("ecg", 1, 0), AnnotatedText("V"), EditAnnotation(Edit{Was: &at}, 0).Text, "second", textEngine + "{}"} {
		w.Annotate(int64(100*(i+1)), -1, text)
	}
	must(t, w.Close())
	f := mustOpen(t, w.Path())
	for _, c := range []struct {
		o    ExportOptions
		want []string
	}{
		{ExportOptions{}, []string{"2 notes", "2 beats", "1 annotated beat", "1 edit of a beat by hand"}},
		{ExportOptions{From: 250, To: 300}, nil},
		{ExportOptions{From: 250, Notes: []Annotation{{Sample: 990, Text: "third"}}}, []string{"2 notes", "1 beat", "1 annotated beat", "1 edit of a beat by hand"}},
	} {
		if got := c.o.dropped(f); !slices.Equal(got, c.want) {
			t.Errorf("%d to %d: %q, want %q", c.o.From, c.o.To, got, c.want)
		}
	}
}
