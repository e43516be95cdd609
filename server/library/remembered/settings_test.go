package remembered

import (
	"log/slog"
	"os"
	"path/filepath"
	"testing"

	"pulsewright/acquire"
	"pulsewright/server/channel"
)

func TestSettingsAreRememberedBySource(t *testing.T) {
	folder := t.TempDir()
	s := NewSettings(folder, nil)
	scale := channel.Scale{Source: "converter", ReferenceVolts: 3.3, Bits: 12, Gain: 1}
	for volts := range 200 { // a slider that is drawn: the last place counts
		scale.ReferenceVolts = float64(volts)
		s.Save("serial:/dev/board?baud=9600", []channel.Settings{{Label: "pulse", Kind: "pulse", Scale: scale}})
	}
	s.Close()
	if said, ok := NewSettings(folder, nil).Load("serial:/dev/board?baud=115200", 0, "pulse"); !ok || *said.Kind != "pulse" || *said.Scale != scale {
		t.Fatalf("remembered are %+v, %v; want %+v", said, ok, scale)
	}
	if _, ok := s.Load("serial:/dev/board", 0, "ecg"); ok {
		t.Error("a channel with another name got the settings")
	}
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
