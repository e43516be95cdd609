package channel_test

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/dsp/board"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
)

func at[T any](v T) *T { return &v }

// TestLinear: values by hand from the definitions: a converter of N bits has 2^N steps of
// reference/2^N, a gain divides, turning mirrors at the mid-rail.
func TestLinear(t *testing.T) {
	plain := acquire.Channel{Label: "a", MaxCount: 1023}
	decimals := acquire.Channel{Label: "b", Digits: 1}
	volts := acquire.Channel{Label: "c", Unit: "V", VoltsPerCount: 0.001, OffsetVolts: -0.5, MinCount: -2048, MaxCount: 2047}
	mmhg := acquire.Channel{Label: "d", Unit: "mmHg", VoltsPerCount: 0.5}
	for _, c := range []struct {
		name      string
		of        acquire.Channel
		s         channel.Settings
		count     int32
		want      float64
		unit      string
		low, high float64
	}{
		{"counts", plain, channel.Settings{Scale: channel.Scale{Source: "unknown", Gain: 1}}, 512, 512, "counts", 0, 1023},
		{"counts with a decimal", decimals, channel.Settings{Scale: channel.Scale{Source: "unknown", Gain: 1}}, 512, 51.2, "counts", 0, 0},
		{"10 bits of 5 V", plain, channel.Settings{Scale: channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 1}}, 512, 2.5, "V", 0, 4.9951171875},
		{"and a gain of 100", plain, channel.Settings{Scale: channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 100}}, 512, 0.025, "V", 0, 0.049951171875},
		{"turned about 2.5 V", plain, channel.Settings{Scale: channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 1, Invert: true, MidRailVolts: at(2.5)}}, 256, 3.75, "V", 0.0048828125, 5},
		{"turned about 0", plain, channel.Settings{Scale: channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 1, Invert: true}}, 256, -1.25, "V", -4.9951171875, 0},
		{"turned about 2.5 V with a gain of 10", plain, channel.Settings{Scale: channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 10, Invert: true, MidRailVolts: at(2.5)}}, 256, 0.375, "V", 0.00048828125, 0.5},
		{"signed", plain, channel.Settings{Scale: channel.Scale{Source: "converter", ReferenceVolts: 4, Bits: 2, Signed: true, Gain: 1}}, -2, -4, "V", -4, 2},
		// Texas Instruments, ADS1115 (SBAS444D), table 3: full scale ±4.096 V, one count 125 µV.
		{"16 bits signed, ±4.096 V", plain, channel.Settings{Scale: channel.Scale{Source: "converter", ReferenceVolts: 4.096, Bits: 16, Signed: true, Gain: 1}}, 8000, 1, "V", -4.096, 4.095875},
		{"full scale", plain, channel.Settings{Scale: channel.Scale{Source: "fullscale", FullScaleVolts: 1.5, Gain: 1}}, 512, 0.75, "V", 0, 1.49853515625},
		{"the board's volts", volts, channel.Settings{Scale: channel.Scale{Source: "board", Gain: 1}}, 1500, 1, "V", -2.548, 1.547},
		{"volts cannot be said to be mV", volts, channel.Settings{Unit: "mV", Scale: channel.Scale{Source: "board", Gain: 1}}, 1500, 1, "V", -2.548, 1.547},
		{"plain numbers said to be mV", plain, channel.Settings{Unit: "mV", Scale: channel.Scale{Source: "board", Gain: 1}}, 500, 0.5, "V", 0, 1.023},
		{"tenths of µV", decimals, channel.Settings{Unit: "µV", Scale: channel.Scale{Source: "board", Gain: 1}}, 500, 50e-6, "V", 0, 0},
		{"another unit", mmhg, channel.Settings{Scale: channel.Scale{Source: "board", Gain: 1}}, 240, 120, "mmHg", 0, 0},
		{"another name for it", mmhg, channel.Settings{Unit: "kPa", Scale: channel.Scale{Source: "board", Gain: 1}}, 240, 120, "kPa", 0, 0},
		{"counts turned", plain, channel.Settings{Scale: channel.Scale{Source: "unknown", Gain: 1, Invert: true}}, 5, -5, "counts", -1023, 0},
	} {
		l := c.s.Linear(c.of)
		low, high := c.s.Ends(c.of)
		near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-12 }
		if !near(l.Value(c.count), c.want) || l.Unit != c.unit || !near(low, c.low) || !near(high, c.high) {
			t.Errorf("%s: count %d is %v %s, ends %v and %v; want %v %s, %v and %v", c.name, c.count, l.Value(c.count), l.Unit, low, high, c.want, c.unit, c.low, c.high)
		}
		c.s.Label, c.s.Kind = "x", "ecg"
		d := c.s.Describe(c.of)
		if d.Label != "x" || d.Kind != "ecg" || !near(d.Value(c.count), c.want) || d.Unit != c.unit && !(d.Unit == "" && c.unit == "counts") {
			t.Errorf("%s: described as %+v", c.name, d)
		}
		if step := l.Step(); (step == 0) != (c.unit == "counts") {
			t.Errorf("%s: a step of %v", c.name, step)
		}
	}
	if r := (channel.Scale{Gain: 10}).At(at(5.0)); r != 0.5 {
		t.Errorf("a rail of 5 V before a gain of 10 is %v", r)
	}
	if r := (channel.Scale{Gain: 10}).At(nil); !math.IsNaN(r) {
		t.Errorf("a rail nobody told is %v", r)
	}
}

// TestRails: a mid-rail outside of the rails, and rails the wrong way round, are refused by name.
func TestRails(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		low, high, mid *float64
		want           string
	}{
		{at(0), at(3.3), at(1.65), ""},
		{at(0), at(3.3), at(0), ""},
		{nil, nil, at(165), ""},
		{at(0), at(3.3), at(165), "mid-rail of 165 V: it must not lie above the upper supply rail, 3.3 V"},
		{nil, at(3.3), at(165), "mid-rail of 165 V: it must not lie above"},
		{at(0), nil, at(-1), "mid-rail of -1 V: it must not lie below the lower supply rail, 0 V"},
		{at(5), at(3.3), nil, "supply rails from 5 to 3.3 V: the lower must lie below the upper"},
		{at(5), at(5), nil, "supply rails from 5 to 5 V"},
	} {
		err := channel.Scale{Source: channel.ScaleBoard, Gain: 1, SupplyLowVolts: c.low, SupplyHighVolts: c.high, MidRailVolts: c.mid}.Check()
		if (err == nil) != (c.want == "") || err != nil && !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%q instead of %q", err, c.want)
		}
	}
}

// TestPrinted: the last decimal of values in a unit is told apart from a converter's step.
func TestPrinted(t *testing.T) {
	board, converter := channel.Settings{Scale: channel.Scale{Source: channel.ScaleBoard}}, channel.Settings{Scale: channel.Scale{Source: channel.ScaleConverter, ReferenceVolts: 5, Bits: 10}}
	said := board
	said.Unit = "mV"
	for _, c := range []struct {
		what      string
		settings  channel.Settings
		described acquire.Channel
		want      bool
	}{
		{"mV with a decimal", board, acquire.Channel{Unit: "V", VoltsPerCount: 1e-4, Digits: 1}, true},
		{"whole mV", board, acquire.Channel{Unit: "V", VoltsPerCount: 1e-3}, true},
		{"whole numbers said to be mV", said, acquire.Channel{}, true},
		{"an EDF file's counts", board, acquire.Channel{Unit: "V", VoltsPerCount: 1e-3, MinCount: -2048, MaxCount: 2047}, false},
		{"a board's counts", board, acquire.Channel{Unit: "V", VoltsPerCount: 5.0 / 1024}, false},
		{"counts", board, acquire.Channel{}, false},
		{"counts of a converter that was said", converter, acquire.Channel{}, false},
		{"counts with decimals, means of some", converter, acquire.Channel{Digits: 2}, true},
	} {
		if got := c.settings.Printed(c.described); got != c.want || c.settings.Meter(c.described, 250).Printed != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
}

// TestResolve: what was said comes before what is recorded, before what is described.
func TestResolve(t *testing.T) {
	described := acquire.Channel{Label: "A0", MaxCount: 1023}
	usual := channel.Resolve(channel.Places{Described: described, RateHz: 250})
	if usual.Label != "A0" || usual.Kind != "pulse" || usual.Scale.Source != "unknown" || usual.Path != signalpath.Preset("pulse", 250) {
		t.Errorf("of a description alone: %+v", usual.Settings)
	}
	if want := (channel.From{Label: "source", Kind: "usual", Unit: "usual", Scale: "usual", Path: "usual", Board: "usual"}); usual.From != want {
		t.Errorf("from %+v, want %+v", usual.From, want)
	}
	lead := channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 100, Invert: true, SupplyLowVolts: at(0.0), SupplyHighVolts: at(5.0)}
	own := signalpath.Preset("ecg", 250)
	own.Smooth.CutoffHz = 35
	recorded := channel.Said{Label: at("chest"), Kind: at("ecg"), Scale: &lead, Path: &own}
	r := channel.Resolve(channel.Places{Described: described, Recorded: recorded, RateHz: 250})
	if r.Label != "chest" || r.Kind != "ecg" || r.Scale.Gain != 100 || !r.Scale.Invert || r.Path != own {
		t.Errorf("recorded: %+v", r.Settings)
	}
	if want := (channel.From{Label: "recorded", Kind: "recorded", Unit: "usual", Scale: "recorded", Path: "recorded", Board: "usual"}); r.From != want {
		t.Errorf("from %+v, want %+v", r.From, want)
	}
	said := channel.Said{Kind: at("pulse"), Label: at("finger")}
	r = channel.Resolve(channel.Places{Described: described, Recorded: recorded, Said: said, RateHz: 250})
	if r.Label != "finger" || r.Kind != "pulse" || r.Scale.Gain != 100 {
		t.Errorf("said: %+v", r.Settings)
	}
	if r.Path != signalpath.Preset("pulse", 250) || r.From.Path != "usual" {
		t.Errorf("a finger has the path of an ECG: %+v from %s", r.Path, r.From.Path)
	}
	// What is wrong, or not possible at the rate, is passed over.
	bad := own
	bad.Smooth.CutoffHz = 200
	wrong := channel.Said{Label: at(""), Kind: at("eeg"), Unit: at("a\x00"), Scale: &channel.Scale{Source: "converter"}, Path: &bad, Board: &board.Board{}}
	r = channel.Resolve(channel.Places{Described: described, Recorded: recorded, Said: wrong, RateHz: 250})
	if r.Label != "chest" || r.Kind != "ecg" || r.Unit != "" || r.Scale.Gain != 100 || r.Path != own || r.Board != nil {
		t.Errorf("wrong ones taken: %+v", r.Settings)
	}
	for _, word := range []string{"name", "eeg", "unit", "reference", "board"} {
		if err := wrong.Check(); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%v does not speak of the %s", err, word)
		}
	}
}

// TestChange: told more, what was told stays, but for a path of another kind.
func TestChange(t *testing.T) {
	path := signalpath.Preset("pulse", 250)
	s := channel.Said{Kind: at("pulse"), Path: &path}.Change(channel.Said{Label: at("clip")})
	if *s.Kind != "pulse" || *s.Label != "clip" || s.Path == nil {
		t.Errorf("%+v", s)
	}
	if s = s.Change(channel.Said{Kind: at("pulse")}); s.Path == nil {
		t.Error("the path went though the kind stayed")
	}
	if s = s.Change(channel.Said{Kind: at("ecg")}); *s.Kind != "ecg" || s.Path != nil || *s.Label != "clip" {
		t.Errorf("after another kind %+v", s)
	}
}

// TestCarried: what is written is read again; of recordings made before, the unit that
// was shown is not taken for that of the board's numbers; what was said before a copy
// comes first.
func TestCarried(t *testing.T) {
	s := channel.Resolve(channel.Places{Described: acquire.Channel{Label: "a"}, RateHz: 250}).Settings
	b, err := board.Example(board.ExampleNames()[0])
	if err != nil {
		t.Fatal(err)
	}
	s.Unit, s.Board = "mV", b
	carried := channel.NewCarried(channel.Start{Channels: []channel.Settings{s}})
	carried.Said = &channel.Sidecar{}
	carried.Said.Set(0, channel.Said{Kind: at("other")})
	data, err := json.Marshal(carried)
	if err != nil {
		t.Fatal(err)
	}
	got := channel.ParseCarried(data).Of(0)
	if *got.Unit != "mV" || *got.Kind != "other" || *got.Path != s.Path || !reflect.DeepEqual(got.Board, s.Board) {
		t.Errorf("%s is read as %+v", data, got)
	}
	// As the first build wrote it.
	old := `{"channels":[{"label":"pulse","kind":"ecg","unit":"mV","path":{"drift":{"on":true,"cutoffHz":0.5,"order":1},"hum":{"mode":"off"},"smooth":{"shape":"off"}},"scale":{"source":"converter","referenceVolts":5,"bits":10,"gain":1},"coupling":null,"humHz":50}]}`
	got = channel.ParseCarried(json.RawMessage(old)).Of(0)
	if got.Unit != nil || *got.Kind != "ecg" || got.Scale.Bits != 10 || !got.Path.Drift.On {
		t.Errorf("an old one is read as %+v", got)
	}
	for _, text := range []string{"", "null", "{", `{"channels":3}`} {
		if got := channel.ParseCarried(json.RawMessage(text)).Of(0); !got.Empty() {
			t.Errorf("%q is read as %+v", text, got)
		}
	}
	if !(channel.Sidecar{Channels: []channel.Said{{}}}).Empty() || carried.Said.Empty() {
		t.Error("Empty")
	}
	if err := carried.Said.Check(0); err == nil {
		t.Error("settings of a channel that is not there")
	}
}
