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

// writeRecord writes a record of two signals in a format, laid out here as signal(5) and header(5) of
// PhysioNet's WFDB Applications Guide describe, independently of the reader.
func writeRecord(t *testing.T, folder, name string, format int, a, b []int32) {
	t.Helper()
	var data []byte
	var all []int32
	for i := range a {
		all = append(all, a[i], b[i])
	}
	switch format {
	case 8:
		last := [2]int32{a[0], b[0]}
		for i, v := range all {
			data = append(data, byte(v-last[i%2]))
			last[i%2] = v
		}
	case 310:
		for i := 0; i < len(all); i += 3 {
			v := [3]uint16{}
			for k := range min(3, len(all)-i) {
				v[k] = uint16(all[i+k]) & 0x3ff
			}
			data = binary.LittleEndian.AppendUint16(data, v[0]<<1|v[2]&31<<11)
			if i+1 < len(all) {
				data = binary.LittleEndian.AppendUint16(data, v[1]<<1|v[2]>>5<<11)
			}
		}
	case 311:
		for i := 0; i < len(all); i += 3 {
			word := uint32(0)
			for k := range min(3, len(all)-i) {
				word |= uint32(all[i+k]) & 0x3ff << (10 * k)
			}
			data = binary.LittleEndian.AppendUint32(data, word)
		}
	case 16:
		for _, v := range all {
			data = binary.LittleEndian.AppendUint16(data, uint16(v))
		}
	}
	must(t, os.WriteFile(filepath.Join(folder, name+".dat"), data, 0o600))
	line := func(first int32, label string) string {
		return fmt.Sprintf("%s.dat %d 200/mV 10 0 %d 0 0 %s\n", name, format, first, label)
	}
	must(t, os.WriteFile(filepath.Join(folder, name+".hea"), []byte(fmt.Sprintf("%s 2 250 %d\n", name, len(a))+line(a[0], "lead")+line(b[0], "clip")), 0o600))
}

// slowNoise moves by less than a difference of 8 bits and stays within 10 bits, without the lowest value.
func slowNoise(n int, seed int32) []int32 {
	list, v := make([]int32, n), seed
	for i := range list {
		v = (v*73 + 11) % 997
		list[i] = v%60 + 400*int32(i)/9001 - 200
	}
	return list
}

// TestRecordFormats: 8-bit differences and 10 bits three by three, whole and from any place.
func TestRecordFormats(t *testing.T) {
	folder := t.TempDir()
	for _, format := range []int{8, 310, 311} {
		for _, n := range []int{1, 2, 3, 4, 9001} {
			a, b := slowNoise(n, 5), slowNoise(n, 77)
			name := fmt.Sprintf("r%d_%d", format, n)
			writeRecord(t, folder, name, format, a, b)
			f := mustOpen(t, filepath.Join(folder, name+".hea"))
			sameCounts(t, all(t, f), [][]int32{a, b})
			if len(f.Remarks()) > 0 {
				t.Errorf("%s: %v", name, f.Remarks())
			}
			for _, from := range []int{1, 2, 4095, 4097, 8193} {
				if from+100 > n {
					continue
				}
				part := [][]int32{make([]int32, 100), make([]int32, 100)}
				_, err := f.ReadAt(part, int64(from))
				must(t, err)
				sameCounts(t, part, [][]int32{a[from : from+100], b[from : from+100]})
			}
		}
	}
}

// TestRecordNullSignal: a signal of format 0 has no samples; the other is there.
func TestRecordNullSignal(t *testing.T) {
	folder := t.TempDir()
	a, b := slowNoise(500, 5), slowNoise(500, 6)
	writeRecord(t, folder, "r", 16, a, b)
	hea := filepath.Join(folder, "r.hea")
	text, err := os.ReadFile(hea)
	must(t, err)
	lines := strings.SplitAfter(string(text), "\n")
	must(t, os.WriteFile(hea, []byte(strings.Replace(lines[0], "r 2", "r 3", 1)+"~ 0 200 12 0 0 0 0 gone\n"+lines[1]+lines[2]), 0o600))
	f := mustOpen(t, hea)
	none := make([]int32, 500)
	fill(none, acquire.MissingCount)
	sameCounts(t, all(t, f), [][]int32{none, a, b})
	if f.info.Channels[0].Label != "gone" {
		t.Errorf("channel 1 is %q", f.info.Channels[0].Label)
	}
}

// TestRecordSegments: two segments with a time without a record between them; a layout decides the
// channels; a segment that has segments, or that is itself, is refused.
func TestRecordSegments(t *testing.T) {
	folder := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(folder, name)
		must(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	a, b := slowNoise(700, 5), slowNoise(700, 6)
	writeRecord(t, folder, "one", 16, a[:300], b[:300])
	writeRecord(t, folder, "two", 16, a[300:], b[300:])
	fixed := mustOpen(t, write("night.hea", "night/3 2 250 900\none 300\n~ 200\ntwo 400\n"))
	want := [][]int32{make([]int32, 900), make([]int32, 900)}
	for c, row := range [][]int32{a, b} {
		fill(want[c], acquire.MissingCount)
		copy(want[c], row[:300])
		copy(want[c][500:], row[300:])
	}
	sameCounts(t, all(t, fixed), want)
	if g := fixed.Gaps(); len(g) != 1 || g[0] != (Gap{300, 200}) || fixed.info.ClaimedRateHz != 250 {
		t.Errorf("gaps %v at %g Hz", g, fixed.info.ClaimedRateHz)
	}
	write("plan.hea", "plan 2 250 0\n~ 0 200/mV 10 0 0 0 0 clip\n~ 0 200/mV 10 0 0 0 0 other\n")
	varied := mustOpen(t, write("day.hea", "day/3 2 250 700\nplan 0\none 300\ntwo 400\n"))
	none := make([]int32, 700)
	fill(none, acquire.MissingCount)
	sameCounts(t, all(t, varied), [][]int32{b, none})
	for text, says := range map[string]string{"self/1 2 250 900\nself 900\n": "segments of its own", "self/1 2 250 900\nnight 900\n": "segments of its own", "self/1 2 250 9\n../one 9\n": "own folder",
		"self/1 2 250 9\nnone 9\n": "put it beside", "self/9999999 2 250 9\n": "1 to 500", "self/1 2 250 9\none\n": "no segment line"} {
		if _, err := Open(write("self.hea", text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want one that says %q", text, err, says)
		}
	}
}

// TestRecordShowsAnnotationsBeside: beats of the file beside a record become annotated beats with their type, the rest words; written here as annot(5) of the WFDB Applications Guide describes. A cut file gives what is whole.
func TestRecordShowsAnnotationsBeside(t *testing.T) {
	folder := t.TempDir()
	a, b := slowNoise(3000, 5), slowNoise(3000, 6)
	writeRecord(t, folder, "r", 16, a, b)
	var atr []byte
	word := func(code, step int) { atr = binary.LittleEndian.AppendUint16(atr, uint16(code<<10|step)) }
	word(28, 18) // a rhythm, with its name
	word(63, 3)
	atr = append(atr, "(AB\x00"...)
	word(1, 82)
	word(5, 900) // an early beat
	word(14, 7)
	word(0, 0)
	for cut, want := range map[int][]string{len(atr): {"18 rhythm: AB", "100 annotated N", "1000 annotated V", "1007 signal quality changes"}, len(atr) - 5: {"18 rhythm: AB", "100 annotated N"}} {
		must(t, os.WriteFile(filepath.Join(folder, "r.atr"), atr[:cut], 0o600))
		f := mustOpen(t, filepath.Join(folder, "r.hea"))
		var got []string
		for _, n := range f.Annotations() {
			got = append(got, fmt.Sprint(n.Sample, " ", n.Text))
		}
		if strings.Join(got, "\n") != strings.Join(want, "\n") {
			t.Errorf("%d bytes: %q, want %q", cut, got, want)
		}
		if told := strings.Join(f.Remarks(), "\n"); (cut < len(atr)) != strings.Contains(told, "2 were read") {
			t.Errorf("%d bytes: told %q", cut, told)
		}
	}
}
