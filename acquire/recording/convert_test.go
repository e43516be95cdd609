package recording

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// Every pair of formats, in a chain, keeps counts, notes, gaps and scale as far
// as the formats can.
func TestConvertChain(t *testing.T) {
	w := create(t, "a.edf", 249.5, lampClip(), lampClip())
	want := [][]int32{noise(lampClip(), 3000, 1), noise(lampClip(), 3000, 2)}
	want[0][77] = acquire.MissingCount
	must(t, w.Annotate(1234, 10, "turned the trimmer"))
	must(t, w.Write([][]int32{want[0][:1000], want[1][:1000]}, 0))
	must(t, w.Gap(1000, 500, "unplugged"))
	for c := range want {
		fill(want[c][1000:1500], acquire.MissingCount)
	}
	must(t, w.Write([][]int32{want[0][1500:], want[1][1500:]}, 1500))
	must(t, w.Close())
	dir := t.TempDir()
	from := w.Path()
	for i, name := range []string{"1.edf", "2.wav", "3.bdf", "4.wav.gz", "5.edf"} {
		to := filepath.Join(dir, name)
		var done, total int64
		must(t, Convert(from, to, OpenOptions{}, ExportOptions{Progress: func(d, n int64) {
			if d < done || d > n {
				t.Errorf("%s: progress %d of %d after %d", name, d, n, done)
			}
			done, total = d, n
		}}))
		if done != total || total != 3000 {
			t.Errorf("%s: progress ended at %d of %d, want 3000", name, done, total)
		}
		f := mustOpen(t, to)
		sameCounts(t, all(t, f), want)
		info := f.Describe()
		if info.ClaimedRateHz != 249.5 || info.Channels[0] != lampClip() || !info.Started.Equal(anEvening) {
			t.Errorf("%s: %+v", name, info)
		}
		if i == 0 {
			if notes := f.NotesBetween(1234, 1235); len(notes) != 1 || notes[0].Text != "turned the trimmer" {
				t.Errorf("%s: notes %v", name, notes)
			}
			if g := f.Gaps(); len(g) != 1 || g[0] != (Gap{1000, 500}) {
				t.Errorf("%s: gaps %v", name, g)
			}
		}
		from = to
	}
	if err := Convert(from, filepath.Join(dir, "1.edf"), OpenOptions{}, ExportOptions{}); !errors.Is(err, os.ErrExist) {
		t.Errorf("onto a file: %v", err)
	}
	if err := Convert(from, filepath.Join(dir, "a.mp3"), OpenOptions{}, ExportOptions{}); err == nil || !strings.Contains(err.Error(), ".csv or .wav") {
		t.Errorf("mp3: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, name := range []string{"x.csv", "x.edf", "x.wav"} {
		if err := Convert(from, filepath.Join(dir, name), OpenOptions{}, ExportOptions{Context: ctx}); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v, want it stopped", name, err)
		}
		if _, err := os.Stat(filepath.Join(dir, name)); err == nil {
			t.Errorf("%s: half a file was left", name)
		}
	}
	if err := Convert(from, filepath.Join(dir, "no", "a.csv"), OpenOptions{}, ExportOptions{}); !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), "choose a folder") {
		t.Errorf("no folder: %v", err)
	}
}

func TestExportStretch(t *testing.T) {
	w := create(t, "a.edf", 100, lampClip())
	data := noise(lampClip(), 1000, 9)
	must(t, w.Annotate(450, 0, "inside"))
	must(t, w.Annotate(50, 0, "before"))
	must(t, w.Write([][]int32{data}, 0))
	must(t, w.Close())
	f := mustOpen(t, w.Path())
	path := filepath.Join(t.TempDir(), "part.edf")
	must(t, ExportEDF(path, f, ExportOptions{From: 400, To: 725}))
	g := mustOpen(t, path)
	sameCounts(t, all(t, g), [][]int32{data[400:725]})
	if notes := g.NotesBetween(50, 51); len(notes) != 1 || notes[0].Text != "inside" || len(g.NotesBetween(0, 325)) != 1 {
		t.Errorf("notes %v", g.NotesBetween(0, 325))
	}
	if !g.Describe().Started.Equal(anEvening.Add(4e9)) {
		t.Errorf("started %v", g.Describe().Started)
	}
	if err := ExportCSV(new(bytes.Buffer), f, ExportOptions{From: 10, To: 1001}); err == nil {
		t.Error("a stretch beyond the end was taken")
	}
}

// An RF64 header as EBU Tech 3306 lays it out, and a file with one read back.
func TestRF64(t *testing.T) {
	const frames = int64(1) << 31
	b := wav{48000, 2, 2, frames}.header("x")
	le := binary.LittleEndian
	if string(b[:4]) != "RF64" || le.Uint32(b[4:]) != 0xffffffff || string(b[8:16]) != "WAVEds64" || le.Uint32(b[16:]) != 28 {
		t.Fatalf("%q", b[:20])
	}
	if got := le.Uint64(b[28:]); got != uint64(frames)*4 {
		t.Errorf("data size %d, want %d", got, frames*4)
	}
	if got := le.Uint64(b[20:]); got != uint64(len(b)-8)+uint64(frames)*4 {
		t.Errorf("RIFF size %d, want %d", got, uint64(len(b)-8)+uint64(frames)*4)
	}
	if got := le.Uint64(b[36:]); got != uint64(frames) {
		t.Errorf("frames %d, want %d", got, frames)
	}
	path := filepath.Join(t.TempDir(), "big.wav")
	file, err := os.Create(path)
	must(t, err)
	_, err = file.Write(b)
	must(t, err)
	// A sparse file of 8 GiB with one sample set at its end.
	end := int64(len(b)) + frames*4
	if err := file.Truncate(end); err != nil {
		t.Skip("skipped: no sparse files here:", err)
	}
	file.WriteAt([]byte{0x34, 0x12}, end-2)
	must(t, file.Close())
	f := mustOpen(t, path)
	got := [][]int32{make([]int32, 1), make([]int32, 1)}
	_, err = f.ReadAt(got, frames-1)
	must(t, err)
	if f.Len() != frames || got[1][0] != 0x1234 || f.Format() != "RF64" {
		t.Errorf("%s: %d frames, last %#x", f.Format(), f.Len(), got[1][0])
	}
}

// day makes a 24-hour recording of two channels at 1 kHz.
func day(b *testing.B) string {
	path := filepath.Join(b.TempDir(), "day.edf")
	w, err := Create(path, Header{Info: acquire.Info{ClaimedRateHz: 1000, Channels: []acquire.Channel{lampClip(), lampClip()}}, NoSync: true})
	must(b, err)
	block := [][]int32{noise(lampClip(), 60_000, 1), noise(lampClip(), 60_000, 2)}
	for i := int64(0); i < 24*60; i++ {
		for j := range int64(70) {
			w.Annotate(i*60_000+j*850, 0, BeatText(acquire.KindECG, 0.97, -1))
		}
		must(b, w.Write(block, i*60_000))
	}
	must(b, w.SetRate(999.5))
	must(b, w.Close())
	return path
}

func BenchmarkDay(b *testing.B) {
	path := day(b)
	b.Run("Open", func(b *testing.B) {
		for b.Loop() {
			f, err := Open(path)
			must(b, err)
			f.Close()
		}
	})
	b.Run("Annotations", func(b *testing.B) {
		for b.Loop() {
			f, err := Open(path)
			must(b, err)
			if n := len(f.Annotations()); n < 100_000 {
				b.Fatal(n)
			}
			f.Close()
		}
	})
	f, err := Open(path)
	must(b, err)
	defer f.Close()
	f.learnHoles()
	ten := [][]int32{make([]int32, 10_000), make([]int32, 10_000)}
	b.Run("Read10s", func(b *testing.B) {
		at := int64(0)
		for b.Loop() {
			_, err := f.ReadAt(ten, at)
			must(b, err)
			at = (at + 7_777_777) % 86_000_000
		}
	})
	b.Run("ReadAll", func(b *testing.B) {
		b.SetBytes(86_400_000 * 4)
		for b.Loop() {
			for at := int64(0); at < f.Len(); at += 10_000 {
				_, err := f.ReadAt(ten, at)
				must(b, err)
			}
		}
	})
}

func BenchmarkWriteSecond(b *testing.B) {
	w, err := Create(filepath.Join(b.TempDir(), "a.bdf"), Header{Info: acquire.Info{ClaimedRateHz: 1000, Channels: []acquire.Channel{lampClip(), chestLead()}}, NoSync: true})
	must(b, err)
	defer w.Close()
	block := [][]int32{noise(lampClip(), 1000, 1), noise(chestLead(), 1000, 2)}
	at := int64(0)
	for b.Loop() {
		must(b, w.Write(block, at))
		at += 1000
	}
}

// TestWAVSaysWhatItIs: an invented recording's WAV says so, and what it is not, in its INFO list.
func TestWAVSaysWhatItIs(t *testing.T) {
	for _, invented := range []bool{false, true} {
		info := acquire.Info{ClaimedRateHz: 250, Channels: []acquire.Channel{lampClip()}, Invented: invented}
		w, err := Create(filepath.Join(t.TempDir(), "a.edf"), Header{Info: info, NoSync: true})
		must(t, err)
		must(t, w.Write([][]int32{make([]int32, 500)}, 0))
		must(t, w.Close())
		out := filepath.Join(t.TempDir(), "a.wav")
		must(t, Convert(w.Path(), out, OpenOptions{}, ExportOptions{}))
		data, err := os.ReadFile(out)
		must(t, err)
		_, subject, found := strings.Cut(string(data), "ISBJ")
		if !found || !strings.Contains(subject[4:], aid) || strings.Contains(subject, acquire.InventedTag) != invented {
			t.Errorf("invented %v: it says %.90q", invented, subject)
		}
		if f := mustOpen(t, out); f.Describe().Invented != invented || f.Len() != 500 {
			t.Errorf("invented %v: read as %+v, %d samples", invented, f.Describe(), f.Len())
		}
	}
}

// TestSamplesAloneKeepSettings: what a recording carries of its channels and what happened to them go into a WAV
// and a CSV of counts, of a part with all that happened before it at its start.
func TestSamplesAloneKeepSettings(t *testing.T) {
	w := create(t, "a.edf", 250, lampClip())
	must(t, w.Annotate(100, 0, `engine {"clockHz":251}`))
	must(t, w.Annotate(700, 0, `engine {"restart":true}`))
	must(t, w.Write([][]int32{noise(lampClip(), 1000, 1)}, 0))
	must(t, w.Close())
	for _, said := range []any{nil, map[string]string{"said": "an ECG"}} {
		for _, name := range []string{"a.wav", "a.csv"} {
			path, want := filepath.Join(t.TempDir(), name), `{"hum":50}`
			if said != nil {
				want = `{"said":"an ECG"}`
			}
			must(t, Convert(w.Path(), path, OpenOptions{}, ExportOptions{From: 300, Counts: true, Settings: said}))
			f := mustOpen(t, path)
			if got := string(f.Settings()); got != want {
				t.Errorf("%s carries %s, want %s", name, got, want)
			}
			list := f.Annotations()
			if len(list) != 2 || list[0].Sample != 0 || list[0].Text != `engine {"clockHz":251}` || list[1].Sample != 400 || list[1].OnsetSeconds != 1.6 {
				t.Errorf("%s: what happened is %+v", name, list)
			}
		}
	}
}
