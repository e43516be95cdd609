package server

import (
	"testing"

	"pulsewright/acquire"
	"pulsewright/server/channel"
)

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
