package recording

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
)

// A file cut at every byte of its header and first records opens or says why
// not, and keeps its whole records.
func TestCutAtEveryByte(t *testing.T) {
	for _, name := range []string{"a.edf", "a.bdf"} {
		channels := []acquire.Channel{lampClip(), lampClip()}
		w := create(t, name, 50, channels...)
		want := [][]int32{noise(channels[0], 275, 1), noise(channels[1], 275, 2)}
		for i := 0; i < 250; i += 25 {
			must(t, w.Annotate(int64(i), 0, BeatText(acquire.KindPulse, 1, -1)))
			must(t, w.Write([][]int32{want[0][i : i+25], want[1][i : i+25]}, int64(i)))
		}
		open, err := os.ReadFile(w.Path())
		must(t, err)
		must(t, w.Close())
		closed, err := os.ReadFile(w.Path())
		must(t, err)
		path := filepath.Join(t.TempDir(), name)
		record := recordSize(t, open)
		for k, b := range [][]byte{open, closed} {
			step := 1
			for size := 0; size <= len(b); size += step {
				if size > 1024+3*record {
					step = 13 // beyond the first records
				}
				must(t, os.WriteFile(path, b[:size], 0o644))
				f, err := Open(path)
				if size < 1024 {
					if err == nil {
						t.Fatalf("opened with %d bytes of header", size)
					}
					var fe *FormatError
					if !errors.As(err, &fe) {
						t.Fatalf("%d bytes: %v is no FormatError", size, err)
					}
					continue
				}
				if err != nil {
					t.Fatalf("%d bytes: %v", size, err)
				}
				n := (size - 1024) / record * 50
				if f.Len() != int64(n) {
					t.Fatalf("%d bytes: %d samples, want %d", size, f.Len(), n)
				}
				if size%5 == 0 {
					sameCounts(t, all(t, f), [][]int32{want[0][:n], want[1][:n]})
					for _, a := range f.Annotations() {
						if _, _, _, ok := ParseBeat(a.Text); ok && a.Sample%25 != 0 {
							t.Fatalf("%d bytes: a beat at %d", size, a.Sample)
						}
					}
				}
				if k == 1 && size < len(b) && len(f.Remarks()) == 0 {
					t.Fatalf("%d bytes of %d: nothing said", size, len(b))
				}
				f.Close()
			}
		}
	}
}

// A folder that vanishes is noticed at the next second.
func TestVanishedFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "stick")
	must(t, os.Mkdir(dir, 0o755))
	w, err := Create(filepath.Join(dir, "a.edf"), Header{Info: acquire.Info{ClaimedRateHz: 100, Channels: []acquire.Channel{lampClip()}}})
	must(t, err)
	must(t, w.Write([][]int32{make([]int32, 200)}, 0))
	if err := os.RemoveAll(dir); err != nil {
		t.Skip("skipped: this system keeps open files:", err)
	}
	w.syncedAt = time.Time{} // as if a second had passed
	err = w.Write([][]int32{make([]int32, 200)}, 200)
	if !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), "is the disk still there?") {
		t.Errorf("%v", err)
	}
	if err := w.Close(); err == nil {
		t.Error("Close says all is well")
	}
}

func TestReadOnlyFolder(t *testing.T) {
	dir := t.TempDir()
	must(t, os.Chmod(dir, 0o500))
	defer os.Chmod(dir, 0o700)
	_, err := Create(filepath.Join(dir, "a.edf"), Header{Info: acquire.Info{ClaimedRateHz: 100, Channels: []acquire.Channel{lampClip()}}})
	if err == nil {
		t.Skip("skipped: this user (root) may write anywhere")
	}
	if !strings.Contains(err.Error(), "choose a folder that you may write to") {
		t.Errorf("%v", err)
	}
}

// killSample is the value of sample i on channel c of the recording that is killed.
func killSample(c int, i int64) int32 { return int32((i*7919 + int64(c)*331) % 1024) }

// TestKilled records two channels at 1 kHz in a child process, killed at a
// random moment: at most one second is lost and the rest is identical.
// PULSEWRIGHT_KILLS sets how often; 10 is usual.
func TestKilled(t *testing.T) {
	if path := os.Getenv("PULSEWRIGHT_TEST_RECORD"); path != "" {
		recordUntilKilled(path)
		return
	}
	kills := 10
	if n, err := strconv.Atoi(os.Getenv("PULSEWRIGHT_KILLS")); err == nil {
		kills = n
	}
	dir := t.TempDir()
	for k := range kills {
		path := filepath.Join(dir, fmt.Sprintf("%d.edf", k))
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		cmd.Env = append(os.Environ(), "PULSEWRIGHT_TEST_RECORD="+path)
		out, err := cmd.StdoutPipe()
		must(t, err)
		must(t, cmd.Start())
		r := bufio.NewReader(out)
		last := int64(0)
		until := 300 + rand.Int64N(30_000)
		timer := time.AfterFunc(time.Minute, func() { cmd.Process.Kill() })
		// The child says a position after Write has returned.
		for last < until {
			line, err := r.ReadString('\n')
			if err != nil {
				break
			}
			if n, err := strconv.ParseInt(strings.TrimSpace(line), 10, 64); err == nil {
				last = n
			}
		}
		time.Sleep(time.Duration(rand.Int64N(2e6))) // anywhere in its work
		cmd.Process.Kill()
		timer.Stop()
		for {
			line, err := r.ReadString('\n')
			if n, e := strconv.ParseInt(strings.TrimSpace(line), 10, 64); e == nil && strings.HasSuffix(line, "\n") {
				last = n
			}
			if err != nil {
				break
			}
		}
		cmd.Wait()
		if last < until {
			t.Fatalf("run %d: the child stopped at sample %d by itself", k, last)
		}
		f, err := Open(path)
		must(t, err)
		if f.Len() < last-1000 {
			t.Errorf("run %d: %d samples in the file, %d were written: more than a second is lost", k, f.Len(), last)
		}
		for c, row := range all(t, f) {
			for i, v := range row {
				if want := killSample(c, int64(i)); v != want {
					t.Fatalf("run %d: channel %d sample %d is %d, want %d", k, c, i, v, want)
				}
			}
		}
		for _, a := range f.Annotations() {
			if n, err := strconv.ParseInt(strings.TrimPrefix(a.Text, "at "), 10, 64); err == nil && n != a.Sample {
				t.Errorf("run %d: note %q at %d", k, a.Text, a.Sample)
			}
		}
		f.Close()
		os.Remove(path)
	}
}

func recordUntilKilled(path string) {
	w, err := Create(path, Header{Info: acquire.Info{ClaimedRateHz: 1000, Channels: []acquire.Channel{lampClip(), lampClip()}}, Started: anEvening})
	if err != nil {
		fmt.Println(err)
		return
	}
	counts := [][]int32{make([]int32, 100), make([]int32, 100)}
	for at := int64(0); ; at += 100 {
		for c := range counts {
			for i := range counts[c] {
				counts[c][i] = killSample(c, at+int64(i))
			}
		}
		if at%700 == 0 {
			w.Annotate(at, 0, fmt.Sprintf("at %d", at))
		}
		// The measured rate wanders, so that corrections are hit as well.
		w.SetRate(1000 - 20/(1+float64(at)/5000))
		if err := w.Write(counts, at); err != nil {
			fmt.Println(err)
			return
		}
		fmt.Println(at + 100)
		time.Sleep(100 * time.Microsecond) // a thousand times faster than life
	}
}

// openBytes opens content as if it were a file of that name.
func openBytes(b []byte, path string, o OpenOptions) (*File, error) {
	return open(&input{ReaderAt: bytes.NewReader(b), size: int64(len(b))}, path, o)
}

// use reads what a page would, and checks what must hold of any file.
func use(t *testing.T, f *File) {
	defer f.Close()
	info := f.Describe()
	if len(info.Channels) == 0 || !(info.ClaimedRateHz > 0) || f.Len() < 0 {
		t.Fatalf("%d channels, %g Hz, %d samples", len(info.Channels), info.ClaimedRateHz, f.Len())
	}
	counts := make([][]int32, len(info.Channels))
	for c := range counts {
		counts[c] = make([]int32, 100)
	}
	for _, from := range []int64{0, f.Len() / 2, max(f.Len()-50, 0), f.Len(), f.Len() + 10} {
		n, err := f.ReadAt(counts, from)
		if n < 100 && err == nil || n > 100 || n < 0 {
			t.Fatalf("ReadAt %d of %d: %d, %v", from, f.Len(), n, err)
		}
		if int64(n) > max(f.Len()-from, 0) {
			t.Fatalf("ReadAt %d of %d gives %d", from, f.Len(), n)
		}
	}
	for _, a := range f.Annotations() {
		if a.Text == "" || strings.IndexFunc(a.Text, unsafeRune) >= 0 {
			t.Fatalf("annotation %q", a.Text)
		}
	}
	f.NotesBetween(0, f.Len())
	at := int64(0)
	for _, g := range f.Gaps() {
		if g.First < at || g.Samples <= 0 || g.First+g.Samples > f.Len() {
			t.Fatalf("gaps %v of %d", f.Gaps(), f.Len())
		}
		at = g.First + g.Samples
	}
}

func FuzzEDF(f *testing.F) {
	for _, name := range []string{"a.edf", "a.bdf"} {
		w := create(f, name, 4, lampClip())
		w.Annotate(3, 2, "note")
		w.Write([][]int32{{1, 2, 3, 4, acquire.MissingCount, 6, 7}}, 0)
		w.Gap(7, 100, "")
		w.Write([][]int32{{1, 2, 3}}, 107)
		w.SetRate(3.9)
		w.Close()
		b, _ := os.ReadFile(w.Path())
		f.Add(bytes.Clone(b))
		mark := retiming{1, 1.01, 1, 107}
		copy(b[192:], headerText(string(b[192:197])+" "+mark.String(), 44))
		f.Add(bytes.Clone(b))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if !looksEDF(b) {
			return
		}
		if file, err := openBytes(b, "a.edf", OpenOptions{}); err == nil {
			use(t, file)
		}
	})
}

func FuzzCSV(f *testing.F) {
	for _, s := range []string{"time_s,pulse\r\n0.00,1\r\n0.01,2\r\n0.02,3\r\n0.10,4\r\n", "# rate 250 Hz\nadc\n512\n513\n", "t_ms;a [mV];b\n0;1,5;x\n2;2,5;\n4;;-7e3\n",
		"1\t2\n3\t4\n", "\"a,b\",\"c\n\"\"d\"\n1,2\n", "'Elapsed time','MLII'\n'hh:mm:ss.mmm','mV'\n'0:00.000',-0.145\n'0:00.003',-0.15\n", "2026-03-12T19:42:05Z,1\n", "\xef\xbb\xbfsample,x\n0,1\n1,2\n5,3\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, o := range []OpenOptions{{}, {RateHz: 250}} {
			if file, err := openBytes(b, "a.csv", o); err == nil {
				use(t, file)
			} else if err.Error() == "" {
				t.Fatal("an empty error")
			}
		}
	})
}

func FuzzWAV(f *testing.F) {
	for _, bytes := range []int{2, 3, 4} {
		b := wav{8000, 1, bytes, 4}.header(textSettings + `{"pulsewright":"1","channels":[{"label":"x"}],"holes":[[1,2,0]]}`)
		f.Add(append(b, make([]byte, 4*bytes)...))
	}
	f.Add(append(wav{8000, 2, 2, 1 << 31}.header(""), make([]byte, 40)...))
	f.Fuzz(func(t *testing.T, b []byte) {
		if !looksWAV(b) {
			return
		}
		if file, err := openBytes(b, "a.wav", OpenOptions{}); err == nil {
			use(t, file)
		}
	})
}

func FuzzRecord(f *testing.F) {
	for _, s := range []string{"r 2 360 4\nr.dat 212 200 11 1024 995 0 0 MLII\nr.dat 212 200 11 1024 0 0 0 V5\n# note\n", "r 1 250\nr.dat 16+24 7247/mV 16 0 -171 0 0 II\n",
		"r 2 125 0 10:11:12 1/2/2003\nr.dat 80x2:1 10(3)/mmHg\nr.dat 80 0\n", "r 1 100\nr.dat 24\n", "r 1 100\nr.dat 61\n", "r 1 1\nr.dat 160\n", "r 1 1\nr.dat 32x3\n"} {
		f.Add([]byte(s))
	}
	dir := f.TempDir()
	data := make([]byte, 211)
	for i := range data {
		data[i] = byte(i * 37)
	}
	must(f, os.WriteFile(filepath.Join(dir, "r.dat"), data, 0o644))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) == 0 || !looksText(b[:min(len(b), 512)]) {
			return
		}
		if file, err := openBytes(b, filepath.Join(dir, "r.hea"), OpenOptions{}); err == nil {
			use(t, file)
		}
	})
}

func FuzzMITAnnotations(f *testing.F) {
	words := func(w ...uint16) (b []byte) {
		for _, x := range w {
			b = binary.LittleEndian.AppendUint16(b, x)
		}
		return b
	}
	f.Add(words(18|28<<10, 63<<10|3, 'x'|'y'<<8, 'z', 1<<10|100, 59<<10, 1, 2, 5<<10|1, 61<<10|1, 62<<10|1, 60<<10|2, 0))
	f.Fuzz(func(t *testing.T, b []byte) {
		list, err := ReadMITAnnotations(bytes.NewReader(b))
		for _, a := range list {
			if a.Code < 1 || a.Code > 49 {
				t.Fatalf("code %d", a.Code)
			}
		}
		if err == nil && len(b) < 2 {
			t.Fatal("no end, no error")
		}
	})
}

// The words of one file, typed from the format's description.
func TestMITAnnotationWords(t *testing.T) {
	b := []byte{18, 28 << 2, 3, 63 << 2, 'x', 'y', 'z', 0, 100, 1 << 2, 0, 59 << 2, 1, 0, 2, 0, 1, 5 << 2, 0, 0}
	list, err := ReadMITAnnotations(bytes.NewReader(b))
	must(t, err)
	want := []MITAnnotation{{Sample: 18, Code: 28, Text: "xyz"}, {Sample: 118, Code: 1}, {Sample: 118 + 65536 + 2 + 1, Code: 5}}
	if fmt.Sprint(list) != fmt.Sprint(want) {
		t.Errorf("%+v, want %+v", list, want)
	}
	if _, err := ReadMITAnnotations(bytes.NewReader(b[:9])); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("cut: %v", err)
	}
}
