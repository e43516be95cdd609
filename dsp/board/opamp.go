package board

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
)

// OpAmp is an op amp by its limits; FORMAT.md tells fields and sources.
type OpAmp struct {
	GainBandwidthHz     float64 `json:"gainBandwidthHz"`
	OpenLoopGain        float64 `json:"openLoopGain"`
	ToHighVolts         float64 `json:"toHighVolts"`
	ToLowVolts          float64 `json:"toLowVolts"`
	NoiseVoltsPerRootHz float64 `json:"noiseVoltsPerRootHz"`
	NoiseCornerHz       float64 `json:"noiseCornerHz"`
	NoiseAmpsPerRootHz  float64 `json:"noiseAmpsPerRootHz"`
	OffsetVolts         float64 `json:"offsetVolts"`
	BiasAmps            float64 `json:"biasAmps"`
}

// Classes of op amps by name.
const (
	QuadBipolar    = "single-supply quad, bipolar"
	RailToRailCMOS = "rail-to-rail CMOS"
)

var classes = map[string]OpAmp{
	QuadBipolar:    {1.2e6, 1e5, 1.5, 0.02, 40e-9, 20, 1.2e-13, 3e-3, 45e-9},
	RailToRailCMOS: {1e6, 1e5, 0.025, 0.025, 30e-9, 500, 1e-15, 2e-3, 1e-12},
}

// ClassNames are the names of the classes.
func ClassNames() []string { return []string{QuadBipolar, RailToRailCMOS} }

// Class is an op amp of a class.
func Class(name string) (OpAmp, error) {
	o, ok := classes[name]
	if !ok {
		return o, fmt.Errorf("board: op amp %q: it must be %q, %q, or an object with its limits", short([]byte(name)), QuadBipolar, RailToRailCMOS)
	}
	return o, nil
}

// ClassOf is the name of the class whose limits o has; empty for none.
func ClassOf(o OpAmp) string {
	for name, c := range classes {
		if c == o {
			return name
		}
	}
	return ""
}

// UnmarshalJSON reads the name of a class, or an object.
func (o *OpAmp) UnmarshalJSON(b []byte) error {
	var name string
	if json.Unmarshal(b, &name) == nil {
		c, err := Class(name)
		*o = c
		return err
	}
	var like struct {
		Like string `json:"like"`
	}
	if err := json.Unmarshal(b, &like); err != nil {
		return fmt.Errorf("board: op amp %s: give the name of a class or an object", short(b))
	}
	if like.Like == "" {
		like.Like = QuadBipolar
	}
	base, err := Class(like.Like)
	if err != nil {
		return err
	}
	type plain OpAmp
	full := struct {
		Like string `json:"like"`
		plain
	}{plain: plain(base)}
	if err := strict(b, &full); err != nil {
		return err
	}
	*o = OpAmp(full.plain)
	return nil
}

// MarshalJSON writes the class's name when it is one.
func (o OpAmp) MarshalJSON() ([]byte, error) {
	if name := ClassOf(o); name != "" {
		return json.Marshal(name)
	}
	type plain OpAmp
	return json.Marshal(plain(o))
}

func (o *OpAmp) check(where string, supply float64) error {
	for _, f := range []struct {
		name      string
		value     float64
		low, high float64
		unit      string
	}{
		{"gainBandwidthHz", o.GainBandwidthHz, 1e3, 1e8, " Hz"},
		{"openLoopGain", o.OpenLoopGain, 1e2, 1e8, ""},
		{"toHighVolts", o.ToHighVolts, 0, supply / 2, " V (half of the supply)"},
		{"toLowVolts", o.ToLowVolts, 0, supply / 2, " V (half of the supply)"},
		{"noiseVoltsPerRootHz", o.NoiseVoltsPerRootHz, 0, 1e-5, " V/√Hz"},
		{"noiseCornerHz", o.NoiseCornerHz, 0, 1e6, " Hz"},
		{"noiseAmpsPerRootHz", o.NoiseAmpsPerRootHz, 0, 1e-8, " A/√Hz"},
		{"offsetVolts", o.OffsetVolts, 0, 0.1, " V"},
		{"biasAmps", o.BiasAmps, -1e-4, 1e-4, " A"},
	} {
		if !(f.value >= f.low && f.value <= f.high) || subnormal(f.value) {
			return fmt.Errorf("board: %s: op amp: %s of %g: it must be from %g to %g%s", where, f.name, f.value, f.low, f.high, f.unit)
		}
	}
	return nil
}

// subnormal numbers, such as 1e-320, are neither nothing nor a value.
func subnormal(v float64) bool { return v != 0 && math.Abs(v) < 0x1p-1022 }

// strict decodes JSON of one value and refuses fields that are not known.
func strict(b []byte, v any) error {
	d := json.NewDecoder(strings.NewReader(string(b)))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		text := strings.TrimPrefix(err.Error(), "json: ")
		if !strings.HasPrefix(text, "board: ") {
			text = "board: " + text
		}
		return fmt.Errorf("%s", text)
	}
	return nil
}

var kindNames = []string{"pulse", "ecg", "other"}

func knownKind(k string) bool { return slices.Contains(kindNames, k) }
