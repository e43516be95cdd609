package library

import (
	"bytes"
	"encoding/binary"
	"log/slog"
	"os"
	"path/filepath"
	"testing"

	"pulsewright/acquire"
	"pulsewright/server/channel"
)

// FuzzView: a kept overview that is damaged is refused or shows what can be drawn.
func FuzzView(f *testing.F) {
	folder := f.TempDir()
	store := NewStore(folder)
	id := "walk.csv"
	if err := os.WriteFile(filepath.Join(folder, id), []byte("a\n1\n2\n"), 0o644); err != nil {
		f.Fatal(err)
	}
	b := newPyramidBuilder(2)
	row := make([]int32, 3000)
	for i := range row {
		row[i] = int32(i % 700)
	}
	b.add([][]int32{row, row}, int64(len(row)))
	if err := store.savePyramid(id, b.finish()); err != nil {
		f.Fatal(err)
	}
	whole, err := os.ReadFile(store.pyramidPath(id))
	if err != nil {
		f.Fatal(err)
	}
	// The first 16 bytes after the magic tie it to the file; they stay.
	tied := len(pyramidMagic) + 16
	f.Add(whole[tied:])
	f.Add(whole[tied : len(whole)-8])
	f.Add(binary.LittleEndian.AppendUint64(nil, 1<<62))
	f.Fuzz(func(t *testing.T, rest []byte) {
		if err := os.WriteFile(store.pyramidPath(id), append(bytes.Clone(whole[:tied]), rest...), 0o644); err != nil {
			t.Fatal(err)
		}
		p, err := store.loadPyramid(id)
		if err != nil {
			return
		}
		if p.Samples < 0 {
			t.Fatalf("%d samples", p.Samples)
		}
		out := [][]extent{make([]extent, 5), make([]extent, 5)}
		if len(p.levels[0]) == 2 && p.Samples > 5 {
			p.columns(out, 0, p.Samples)
		}
	})
}

// FuzzRemembered: a damaged file of settings is begun anew, never in the way.
func FuzzRemembered(f *testing.F) {
	f.Add([]byte(`{"serial:/dev/ttyACM0":[{"label":"a","kind":"pulse","path":{},"scale":{"gain":1}}]}`))
	f.Add([]byte(`{"x":null}`))
	f.Add([]byte(`null`))
	f.Add([]byte(`[`))
	f.Fuzz(func(t *testing.T, data []byte) {
		folder := t.TempDir()
		if err := os.WriteFile(filepath.Join(folder, settingsName), data, 0o644); err != nil {
			t.Fatal(err)
		}
		s := NewSettings(folder, slog.New(slog.DiscardHandler))
		s.Load("serial:/dev/ttyACM0?baud=9600", 0, "a")
		s.mu.Lock()
		label, kind := "a", acquire.KindECG
		s.all["serial:x"] = []channel.Said{{Label: &label, Kind: &kind}}
		s.mu.Unlock()
		if said, ok := s.Load("serial:x?baud=9600", 0, "a"); !ok || said.Kind == nil || *said.Kind != acquire.KindECG {
			t.Fatalf("after %q nothing can be remembered: %+v, %v", data, said, ok)
		}
	})
}
