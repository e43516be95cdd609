package server

import (
	"testing"

	"pulsewright/acquire"
	"pulsewright/server/channel"
	"pulsewright/server/session"
)

// TestFirmwareRate: within what was measured the rate that is said counts, then the nearest usual one.
func TestFirmwareRate(t *testing.T) {
	for _, c := range []struct {
		claimed, measured, unsure, want float64
		from                            string
	}{
		{0, 249.85, 0.3, 250, rateUsual}, {0, 252, 5, 250, rateUsual}, {0, 255, 6, 256, rateUsual},
		{252, 249.85, 3, 252, rateSaid}, {250, 249.85, 0.3, 250, rateSaid}, {250, 243, 0.1, 249.9, rateMeasured},
		{0, 249.85, 0.01, 249.9, rateMeasured}, {250, 0, 0, 249.9, rateExact},
	} {
		r := firmwareRate(249.9, 1, session.ClockState{ClaimedRateHz: c.claimed, MeasuredRateHz: c.measured, UncertaintyHz: c.unsure})
		if r.Hz != c.want || r.From != c.from {
			t.Errorf("%+v: %g Hz, %s", c, r.Hz, r.From)
		}
	}
	if r := firmwareRate(999.9, 48, session.ClockState{MeasuredRateHz: 47995, UncertaintyHz: 10}); r.Hz != 999.9 {
		t.Errorf("of a sound card's points: %+v", r)
	}
}

// TestConverterBits: the width that holds a channel's range, as far as the firmware takes
// it; 10 bits, the commonest, where none is stated.
func TestConverterBits(t *testing.T) {
	if width, signed := ConverterBits(acquire.Channel{MaxCount: 1023}, channel.Scale{Source: channel.ScaleConverter, Bits: 12, Signed: true}); width != 12 || !signed {
		t.Errorf("said to be 12 bits, signed: %d, %v", width, signed)
	}
	for _, c := range []struct {
		low, high int32
		width     int
		signed    bool
	}{
		{0, 0, 10, false}, {0, 1023, 10, false}, {0, 1024, 11, false}, {0, 4095, 12, false}, {0, 15, 8, false},
		{-2048, 2047, 12, true}, {-32768, 32767, 16, true}, {-1, 0, 8, true}, {-1 << 23, 1<<23 - 1, 24, true}, {-1 << 31, 1<<31 - 1, 24, true}, {0, 1<<31 - 1, 24, false},
	} {
		if width, signed := ConverterBits(acquire.Channel{MinCount: c.low, MaxCount: c.high}, channel.Scale{Source: channel.ScaleBoard}); width != c.width || signed != c.signed {
			t.Errorf("%d to %d: %d bits, signed %v; want %d, %v", c.low, c.high, width, signed, c.width, c.signed)
		}
	}
}
