package command

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/recording"
)

// TestEveryExportByOthersReaders: what convert and filter write is read by libedf (1.23, Debian's libedf-dev) and
// sox sample by sample as it is by this program, and the annotations one by one.
func TestEveryExportByOthersReaders(t *testing.T) {
	dump := filepath.Join(t.TempDir(), "dump")
	if out, err := exec.Command("cc", "-O1", "-o", dump, "../../acquire/recording/testdata/dump.c", "-ledf").CombinedOutput(); err != nil {
		t.Logf("%s", out)
		acquiretest.Missing(t, "libedf and a C compiler (Debian: libedf-dev, gcc)")
	}
	sox, err := exec.LookPath("sox")
	if err != nil {
		acquiretest.Missing(t, "the program sox")
	}
	folder := t.TempDir()
	read, notes := 0, 0
	for _, in := range []string{"lamp_clip_a.edf", "lamp_clip_a.bdf", "lamp_clip_a.csv", "lamp_clip_a.wav", "chest_lead_a.hea"} {
		for _, how := range []string{"convert", "filter"} {
			for _, ext := range []string{".edf", ".bdf", ".wav"} {
				out := filepath.Join(folder, strings.ReplaceAll(in, ".", "_")+"_"+how+ext)
				if status, _, told := call(how, filepath.Join(testdata, in), out); status != 0 {
					if how == "convert" && ext == ".edf" && strings.Contains(told, "16 bits") {
						continue // 24 bits do not fit
					}
					t.Fatalf("%s %s to %s: %s", how, in, ext, told)
				}
				f, err := recording.Open(out)
				if err != nil {
					t.Fatal(err)
				}
				counts := make([][]int32, len(f.Describe().Channels))
				for c := range counts {
					counts[c] = make([]int32, f.Len())
				}
				if _, err := f.ReadAt(counts, 0); err != nil {
					t.Fatal(err)
				}
				if ext == ".wav" {
					soxReads(t, sox, out, counts)
				} else {
					notes += libedfReads(t, dump, f, out, counts)
				}
				f.Close()
				read++
			}
		}
	}
	if read < 25 || notes < 80 {
		t.Errorf("only %d exports and %d annotations were read", read, notes)
	}
}

// soxReads compares a WAV file's samples as sox reads them: 32 bits, the counts shifted to the top.
func soxReads(t *testing.T, sox, path string, want [][]int32) {
	t.Helper()
	raw := path + ".raw"
	if out, err := exec.Command(sox, "-D", path, "-t", "raw", "-e", "signed-integer", "-b", "32", "-L", raw).CombinedOutput(); err != nil {
		t.Fatalf("%s", out)
	}
	data, err := os.ReadFile(raw)
	if err != nil {
		t.Fatal(err)
	}
	if len(data) != 4*len(want)*len(want[0]) {
		t.Fatalf("%s: sox reads %d bytes, want %d samples of %d channels", filepath.Base(path), len(data), len(want[0]), len(want))
	}
	shift := 0
	for i := range want[0] {
		for c := range want {
			got := int32(binary.LittleEndian.Uint32(data[4*(i*len(want)+c):]))
			if shift == 0 && want[c][i] != 0 {
				shift = int(math.Round(math.Log2(float64(got) / float64(want[c][i]))))
			}
			if want[c][i] != acquire.MissingCount && got != want[c][i]<<shift {
				t.Fatalf("%s: sox reads sample %d of channel %d as %d, want %d shifted by %d", filepath.Base(path), i, c, got, want[c][i], shift)
			}
		}
	}
	if shift != 16 && shift != 8 && shift != 0 {
		t.Errorf("%s: the samples are shifted by %d bits", filepath.Base(path), shift)
	}
}

// libedfReads compares an EDF+ or BDF+ file's samples and annotations as libedf reads them.
func libedfReads(t *testing.T, dump string, f *recording.File, path string, want [][]int32) (found int) {
	t.Helper()
	out, err := exec.Command(dump, path).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", path, err, out)
	}
	name := filepath.Base(path)
	at := make([]int, len(want))
	own := regexp.MustCompile(`^(settings |\[\d+/\d+\] )`) // the file's settings, in parts where they are long
	ours := slices.DeleteFunc(f.Annotations(), func(a recording.Annotation) bool { return own.MatchString(a.Text) })
	for line := range strings.SplitSeq(strings.TrimSpace(string(out)), "\n") {
		var c, v int
		if n, _ := fmt.Sscanf(line, "S %d %d", &c, &v); n == 2 {
			if i := at[c]; i < len(want[c]) && want[c][i] != acquire.MissingCount && int(want[c][i]) != v {
				t.Fatalf("%s: libedf reads sample %d of channel %d as %d, want %d", name, i, c, v, want[c][i])
			}
			at[c]++
			continue
		}
		rest, ok := strings.CutPrefix(line, "A ")
		if !ok {
			continue
		}
		fields := strings.SplitN(rest, " ", 3)
		if own.MatchString(fields[2]) {
			continue
		}
		onset, err := strconv.ParseFloat(fields[0], 64)
		if err != nil || found >= len(ours) {
			t.Fatalf("%s: libedf has one annotation more: %q", name, rest)
		}
		if a := ours[found]; math.Abs(a.OnsetSeconds-onset) > 1e-6 || a.Text != fields[2] {
			t.Fatalf("%s: libedf reads annotation %d as %q, we read %+v", name, found, rest, a)
		}
		found++
	}
	if found != len(ours) {
		t.Errorf("%s: libedf reads %d annotations, we read %d", name, found, len(ours))
	}
	for c := range at {
		if at[c] < len(want[c]) {
			t.Errorf("%s: libedf reads %d samples of channel %d, want %d", name, at[c], c, len(want[c]))
		}
	}
	return found
}
