package overview

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"
)

// FuzzView: a kept overview that is damaged is refused or shows what can be drawn.
func FuzzView(f *testing.F) {
	folder := f.TempDir()
	id := "walk.csv"
	if err := os.WriteFile(filepath.Join(folder, id), []byte("a\n1\n2\n"), 0o644); err != nil {
		f.Fatal(err)
	}
	b := NewBuilder(2)
	row := make([]int32, 3000)
	for i := range row {
		row[i] = int32(i % 700)
	}
	b.Add([][]int32{row, row}, int64(len(row)))
	if err := b.Finish().Save(folder, id); err != nil {
		f.Fatal(err)
	}
	whole, err := os.ReadFile(Path(folder, id))
	if err != nil {
		f.Fatal(err)
	}
	// The first 16 bytes after the magic tie it to the file; they stay.
	tied := len(magic) + 16
	f.Add(whole[tied:])
	f.Add(whole[tied : len(whole)-8])
	f.Add(binary.LittleEndian.AppendUint64(nil, 1<<62))
	f.Fuzz(func(t *testing.T, rest []byte) {
		if err := os.WriteFile(Path(folder, id), append(bytes.Clone(whole[:tied]), rest...), 0o644); err != nil {
			t.Fatal(err)
		}
		p, err := Load(folder, id)
		if err != nil {
			return
		}
		if p.Samples < 0 {
			t.Fatalf("%d samples", p.Samples)
		}
		out := Rows(2, 5)
		if len(p.levels[0]) == 2 && p.Samples > 5 {
			p.Columns(out, 0, p.Samples)
		}
	})
}
