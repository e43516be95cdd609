package remembered

import (
	"cmp"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
)

func TestSettingsAreRememberedBySource(t *testing.T) {
	folder := t.TempDir()
	s := NewSettings(folder, nil)
	scale := channel.Scale{Source: "converter", ReferenceVolts: 3.3, Bits: 12, Gain: 1}
	board := source("serial:/dev/board?baud=9600", "pulse")
	for volts := range 200 { // a slider that is drawn: the last place counts
		scale.ReferenceVolts = float64(volts)
		s.Save(board.Address, board, []channel.Resolved{{Settings: channel.Settings{Label: "pulse", Kind: "pulse", Scale: scale}, From: said}})
	}
	s.Close()
	board.Address = "serial:/dev/board?baud=115200"
	if said, ok := NewSettings(folder, nil).Load(board.Address, board, 0); !ok || *said.Kind != "pulse" || *said.Scale != scale {
		t.Fatalf("remembered are %+v, %v; want %+v", said, ok, scale)
	}
	if _, ok := s.Load("serial:/dev/board", source("serial:/dev/board", "ecg"), 0); ok {
		t.Error("a channel with another name got the settings")
	}
}

var said = channel.From{Kind: channel.PlaceSaid}

// source is a board that prints t_ms and the columns named so; "-" is left out.
func source(address string, columns ...string) acquire.Info {
	info := acquire.Info{Address: address, Columns: []acquire.Column{{Name: "t_ms", Use: acquire.UseClock}}}
	for _, name := range columns {
		name, kind := acquire.TakeKind(name)
		name, unit, _ := strings.Cut(name, " in ")
		c := acquire.Column{Name: name, Unit: unit, Use: acquire.UseSignal}
		if name == "-" {
			c.Use = acquire.UseNothing
		} else {
			info.Channels = append(info.Channels, acquire.Channel{Label: name, Kind: cmp.Or(kind, acquire.KindOfLabel(name)), Unit: unit})
		}
		info.Columns = append(info.Columns, c)
	}
	return info
}

// TestSaidStaysWhenColumnsAreNamed: what was said of a column stays when columns are named, left out
// and taken back, or are as the board says again; a kind and a unit that the names say anew are theirs.
func TestSaidStaysWhenColumnsAreNamed(t *testing.T) {
	const plain, named = "serial:/dev/board?baud=9600", "serial:/dev/board?baud=9600&names="
	set := func(s *Settings, from acquire.Info, place channel.Place, kinds ...string) {
		list := make([]channel.Resolved, len(kinds))
		for i, kind := range kinds {
			list[i] = channel.Resolved{Settings: channel.Settings{Kind: kind, Path: signalpath.Preset(kind, 250),
				Scale: channel.Scale{Source: channel.ScaleConverter, ReferenceVolts: float64(i + 1), Bits: 12, Gain: 1, Invert: true}}, From: channel.From{Kind: place}}
		}
		s.Save(from.Address, from, list)
	}
	header, bare := source(plain, "ecg", "pulse"), source(plain, "ch1", "ch2")
	anew := source(named+"t_ms,Brust,Finger [V] (other)", "Brust", "Finger in V (other)")
	for _, c := range []struct {
		what      string
		place     channel.Place
		said, now acquire.Info
		want      string // kind, scale, volts of the channels
	}{
		{"named", channel.PlaceSaid, header, source(named+"t_ms,Brust,Finger", "Brust", "Finger"), "ecg converter 1, pulse converter 2"},
		{"without names before", channel.PlaceSaid, bare, source(named+"t_ms,Brust,Finger", "Brust", "Finger"), "ecg converter 1, pulse converter 2"},
		{"one left out", channel.PlaceSaid, header, source(named+"t_ms,-,Finger", "-", "Finger"), "pulse converter 2"},
		{"as the board says", channel.PlaceSaid, source(named+"t_ms,Brust,Finger", "Brust", "Finger"), header, "ecg converter 1, pulse converter 2"},
		{"kind and unit anew", channel.PlaceSaid, header, anew, "ecg converter 1, other board 2"},
		{"said again after", channel.PlaceSaid, anew, anew, "ecg converter 1, pulse converter 2"},
		{"a kind that nobody said", channel.PlaceUsual, bare, source(named+"t_ms,lead,x", "lead", "x"), "ecg converter 1, pulse converter 2"},
		{"a kind by the board's name", channel.PlaceSource, header, source(named+"t_ms,Brust,lead", "Brust", "lead"), "ecg converter 1, ecg converter 2"},
		{"another board", channel.PlaceSaid, header, source(plain, "pulse", "temp"), "pulse converter 2, other none"},
		{"more columns", channel.PlaceSaid, bare, source(named+"t_ms,a,b,c", "a", "b", "c"), "pulse none, pulse none, pulse none"},
	} {
		s := NewSettings(t.TempDir(), nil)
		set(s, c.said, c.place, "ecg", "pulse")
		if got := resolved(s, c.now); got != c.want {
			t.Errorf("%s: %s, want %s", c.what, got, c.want)
		}
		s.Close()
	}
	s := NewSettings(t.TempDir(), nil)
	defer s.Close()
	set(s, header, channel.PlaceSaid, "ecg", "pulse")
	set(s, source(named+"t_ms,-,Finger", "-", "Finger"), channel.PlaceSaid, "other")
	if got, want := resolved(s, source(named+"t_ms,a,b", "a", "b")), "ecg converter 1, other converter 1"; got != want {
		t.Errorf("taken back: %s, want %s", got, want)
	}
}

// resolved tells the channels' kinds and scales with what is remembered.
func resolved(s *Settings, now acquire.Info) string {
	var got []string
	for n, c := range now.Channels {
		said, _ := s.Load(now.Address, now, n)
		r := channel.Resolve(channel.Places{Said: said, Described: c, RateHz: 250})
		if !reflect.DeepEqual(r.Path, signalpath.Preset(r.Kind, 250)) {
			return "the path of another kind than " + r.Kind
		}
		text := r.Kind + " none"
		if said.Scale != nil {
			text = fmt.Sprint(r.Kind, " ", said.Scale.Source, " ", said.Scale.ReferenceVolts)
		}
		got = append(got, text)
	}
	return strings.Join(got, ", ")
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
		board := source("serial:/dev/ttyACM0?baud=9600", "a")
		s.Load(board.Address, board, 0)
		s.mu.Lock()
		label, kind := "a", acquire.KindECG
		s.all["serial:x"] = []kept{{Said: channel.Said{Label: &label, Kind: &kind}}}
		s.mu.Unlock()
		if said, ok := s.Load("serial:x?baud=9600", board, 0); !ok || said.Kind == nil || *said.Kind != acquire.KindECG {
			t.Fatalf("after %q nothing can be remembered: %+v, %v", data, said, ok)
		}
	})
}
