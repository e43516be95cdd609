package board

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Part is a part of a stage.
type Part struct {
	Value float64 // ohm, farad, ampere, or a ratio, as its role says
	// Name as on the drawing; empty: numbered.
	Name string
	// Tolerance is a share, 0.05 for 5 %; 0: the usual one of its role.
	Tolerance float64
	// At is where a trimmer stands, 0 to 1; nil: 0.5.
	At *float64
}

type partJSON struct {
	Value     value    `json:"value"`
	Name      string   `json:"name,omitempty"`
	Tolerance float64  `json:"tolerance,omitempty"`
	At        *float64 `json:"at,omitempty"`
}

// value reads a number, or text with a prefix.
type value float64

func (v *value) UnmarshalJSON(b []byte) error {
	var text string
	if json.Unmarshal(b, &text) == nil {
		x, err := ParseValue(text)
		*v = value(x)
		return err
	}
	var x float64
	if err := json.Unmarshal(b, &x); err != nil {
		return fmt.Errorf("board: value %s: give a number or text such as \"4k7\"", short(b))
	}
	*v = value(x)
	return nil
}

// short keeps an error readable whatever was sent.
func short(b []byte) string {
	if len(b) > 40 {
		return string(bytes.ToValidUTF8(b[:40], nil)) + "…"
	}
	return string(b)
}

// UnmarshalJSON reads a number, text such as "4k7", or an object.
func (p *Part) UnmarshalJSON(b []byte) error {
	if t := bytes.TrimSpace(b); len(t) > 0 && t[0] != '{' {
		var v value
		if err := v.UnmarshalJSON(t); err != nil {
			return err
		}
		*p = Part{Value: float64(v)}
		return nil
	}
	var j partJSON
	if err := strict(b, &j); err != nil {
		return err
	}
	*p = Part{float64(j.Value), j.Name, j.Tolerance, j.At}
	return nil
}

// MarshalJSON writes a number when there is nothing but a value.
func (p Part) MarshalJSON() ([]byte, error) {
	if p.Name == "" && p.Tolerance == 0 && p.At == nil {
		return json.Marshal(p.Value)
	}
	return json.Marshal(struct {
		Value     float64  `json:"value"`
		Name      string   `json:"name,omitempty"`
		Tolerance float64  `json:"tolerance,omitempty"`
		At        *float64 `json:"at,omitempty"`
	}{p.Value, p.Name, p.Tolerance, p.At})
}

// prefixes as people write them; m is a thousandth, M and Meg a million.
var prefixes = []struct {
	text, exponent string
}{{"Meg", "6"}, {"G", "9"}, {"M", "6"}, {"k", "3"}, {"K", "3"}, {"R", "0"}, {"m", "-3"}, {"u", "-6"}, {"µ", "-6"}, {"μ", "-6"}, {"n", "-9"}, {"p", "-12"}}

// ParseValue reads "10k", "4k7", "4.7 kΩ", "100nF", "2u2", "1e-6". The unit's letter
// (Ω, F, A) may follow and is passed over.
func ParseValue(text string) (float64, error) {
	wrong := fmt.Errorf("board: value %q: write it as 10k, 4k7, 100n, 2u2 or 1M", short([]byte(text)))
	if len(text) > 32 {
		return 0, wrong
	}
	s := strings.TrimSpace(text)
	for _, unit := range []string{"Ω", "Ω", "ohm", "F", "A"} {
		s = strings.TrimSuffix(s, unit)
	}
	s = strings.TrimSpace(s)
	if x, err := decimal(s); err == nil {
		return x, nil
	}
	for _, p := range prefixes {
		before, after, found := strings.Cut(s, p.text)
		if !found {
			continue
		}
		before = strings.TrimSpace(before)
		if strings.ContainsAny(before, "eE") {
			return 0, wrong
		}
		if after != "" {
			if strings.Contains(before, ".") || strings.Trim(after, "0123456789") != "" {
				return 0, wrong
			}
			before += "." + after
		}
		x, err := decimal(before + "e" + p.exponent) // 10u is 1e-05 to the last bit
		if err != nil {
			return 0, wrong
		}
		return x, nil
	}
	return 0, wrong
}

// decimal reads digits, point and exponent only: no "Inf", no hexadecimal.
func decimal(s string) (float64, error) {
	if s == "" || strings.Trim(s, "0123456789.eE+-") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(s, 64)
}

// Text writes a value with its prefix and unit: "4.7 kΩ". Four digits are kept.
func Text(v float64, unit string) string {
	if unit == "" {
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	for _, p := range []struct {
		text   string
		factor float64
	}{{"G", 1e9}, {"M", 1e6}, {"k", 1e3}, {"", 1}, {"m", 1e-3}, {"µ", 1e-6}, {"n", 1e-9}, {"p", 1e-12}} {
		if math.Abs(v) >= p.factor*(1-1e-9) || p.text == "p" {
			return strconv.FormatFloat(v/p.factor, 'g', 4, 64) + " " + p.text + unit
		}
	}
	return ""
}
