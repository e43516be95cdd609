package recording

import (
	"math"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// TestLimitsOfGaps: the limits of what was never recorded, which no small file reaches, and
// files just within them.
func TestLimitsOfGaps(t *testing.T) {
	many := func(n int) []segment { return make([]segment, n) }
	for _, c := range []struct {
		name     string
		rateHz   float64
		length   int64
		segments []segment
		says     string // "" when it can be read
	}{
		{"as many samples missing as may be", 1e6, 1<<32 + 10, []segment{{n: 10}}, ""},
		{"one more", 1e6, 1<<32 + 11, []segment{{n: 10}}, "4294967297 samples are missing"},
		{"as many gaps as may be", 250, 0, many(1_000_000), ""},
		{"one more gap", 250, 0, many(1_000_001), "more than 1000000 gaps"},
		{"31 days", 1, 31 * 86400, nil, ""},
		{"and a second", 1, 31*86400 + 1, nil, "31"},
		{"10 MHz", 1e7, 1, []segment{{n: 1}}, ""},
		{"above", 1.01e7, 1, []segment{{n: 1}}, "10 MHz"},
		{"0.1 mHz", 1e-4, 1, []segment{{n: 1}}, ""},
		{"below", 0.9e-4, 1, []segment{{n: 1}}, "can be read"},
	} {
		f := &File{path: "a.edf", info: acquire.Info{ClaimedRateHz: c.rateHz}, length: c.length, segments: c.segments}
		err := f.checkLimits()
		if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
}

// TestLimitsOfValues: the smallest count and the largest value that a channel may have.
func TestLimitsOfValues(t *testing.T) {
	for _, c := range []struct {
		channel acquire.Channel
		ok      bool
	}{
		{acquire.Channel{VoltsPerCount: 1e-30, MaxCount: 10}, true},
		{acquire.Channel{VoltsPerCount: 0.9e-30, MaxCount: 10}, false},
		{acquire.Channel{VoltsPerCount: -5e-324, MaxCount: 10}, false},
		{acquire.Channel{VoltsPerCount: 1e14, MaxCount: 10}, true},
		{acquire.Channel{VoltsPerCount: 1e14, MaxCount: 11}, false},
		{acquire.Channel{VoltsPerCount: 1e14, OffsetVolts: -1e14, MaxCount: 10}, false},
		{acquire.Channel{VoltsPerCount: 1, OffsetVolts: math.NaN(), MaxCount: 10}, false},
	} {
		f := &File{path: "a.edf"}
		if err := f.checkScale(0, c.channel); (err == nil) != c.ok {
			t.Errorf("%g V a count, %g V offset, counts to %d: %v, want it read: %v", c.channel.VoltsPerCount, c.channel.OffsetVolts, c.channel.MaxCount, err, c.ok)
		}
	}
}
