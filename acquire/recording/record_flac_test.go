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

// TestRecordFLAC: records whose signal file sox packed as FLAC (formats 508, 516 and 524 of signal(5)),
// of one sample a frame and of several, whole and in part; a cut file gives what is whole.
func TestRecordFLAC(t *testing.T) {
	sox := needTool(t, "sox")
	folder := t.TempDir()
	for _, format := range []struct{ number, bits int }{{508, 8}, {516, 16}, {524, 24}} {
		for _, perFrame := range []int{1, 4} {
			name := fmt.Sprintf("r%d_%d", format.number, perFrame)
			const n = 10_000
			a, b := slowNoise(n, 5), slowNoise(n, 77)
			want := [][]int32{a, b}
			for _, list := range want { // of ten bits
				for i := range list {
					if list[i] <<= max(0, format.bits-10); format.bits == 8 {
						list[i] >>= 2
					}
				}
			}
			a[7] = -1 << (format.bits - 1) // the lowest: missing
			packFLAC(t, sox, filepath.Join(folder, name+".dat"), format.bits, want)
			x := ""
			if perFrame > 1 {
				x = fmt.Sprintf("x%d", perFrame)
			}
			head := fmt.Sprintf("%s 2 250 %d\n", name, n/perFrame)
			for _, label := range []string{"lead", "clip"} {
				head += fmt.Sprintf("%s.dat %d%s 200/mV 0 0 0 0 0 %s\n", name, format.number, x, label)
			}
			must(t, os.WriteFile(filepath.Join(folder, name+".hea"), []byte(head), 0o600))
			a[7] = acquire.MissingCount
			f := mustOpen(t, filepath.Join(folder, name+".hea"))
			sameCounts(t, all(t, f), want)
			part := [][]int32{make([]int32, 100), make([]int32, 100)}
			_, err := f.ReadAt(part, 5001)
			must(t, err)
			sameCounts(t, part, [][]int32{a[5001:5101], b[5001:5101]})
			if len(f.Remarks()) > 0 {
				t.Errorf("%s: %v", name, f.Remarks())
			}
		}
	}
	whole, err := os.ReadFile(filepath.Join(folder, "r516_1.dat"))
	must(t, err)
	for _, wrong := range []struct {
		data []byte
		want string
	}{
		{[]byte("no flac"), "no FLAC stream"},
		{whole[:len(whole)/2], ""},
		{append([]byte{}, append(whole[:len(whole)/2:len(whole)/2], make([]byte, 2000)...)...), ""},
	} {
		must(t, os.WriteFile(filepath.Join(folder, "r516_1.dat"), wrong.data, 0o600))
		f, err := Open(filepath.Join(folder, "r516_1.hea"))
		if wrong.want != "" {
			if err == nil || !strings.Contains(err.Error(), wrong.want) {
				t.Errorf("%v, want %q in it", err, wrong.want)
			}
			continue
		}
		must(t, err)
		if f.Len() < 1000 || f.Len() >= 10_000 || !strings.Contains(strings.Join(f.Remarks(), " "), "their end is missing") {
			t.Errorf("a cut file: %d samples, %v", f.Len(), f.Remarks())
		}
		must(t, f.Close())
	}
	text := "x 3 250 100\n" + strings.Repeat("r524_1.dat 524 200 0 0 0 0 0 lead\n", 3)
	must(t, os.WriteFile(filepath.Join(folder, "x.hea"), []byte(text), 0o600))
	if _, err := Open(filepath.Join(folder, "x.hea")); err == nil || !strings.Contains(err.Error(), "2 FLAC channels; the header tells 3") {
		t.Error(err)
	}
}

// packFLAC has sox pack interleaved samples.
func packFLAC(t *testing.T, sox, path string, bits int, signals [][]int32) {
	t.Helper()
	var raw []byte
	for i := range signals[0] {
		for _, s := range signals {
			raw = binary.LittleEndian.AppendUint32(raw, uint32(s[i])<<(32-bits))
		}
	}
	must(t, os.WriteFile(path+".raw", raw, 0o600))
	run(t, sox, "-D", "-t", "raw", "-e", "signed-integer", "-b", "32", "-L", "-c", fmt.Sprint(len(signals)), "-r", "8000", path+".raw", "-b", fmt.Sprint(bits), "-t", "flac", path)
}
