package firmware

import (
	"fmt"
	"strings"
)

// Cycles is about how many clock cycles a sample takes on an 8-bit AVR, from runs on a
// simulated ATmega328P (gcc 5.4, -Os).
func (f *Filter) Cycles() int {
	if f.cfg.Form == Small {
		return 20 + 450*len(f.sections)
	}
	return 30 + 1640*len(f.sections)
}

// StateBytes is the memory that a path takes on the board.
func (f *Filter) StateBytes() int {
	if f.cfg.Form == Small {
		return 1 + 10*max(1, len(f.sections))
	}
	return 1 + 20*max(1, len(f.sections))
}

// C is the path as one C header for any C99 or C++ compiler with arithmetic right
// shifts. Lines of about tell a reader what it is; they become comments.
func (f *Filter) C(about []string) string {
	var b strings.Builder
	line := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	type kind struct{ coef, data, acc, mask string }
	k := kind{"int32_t", "int32_t", "int64_t", "INT64_C(0x3fffffff)"}
	if f.cfg.Form == Small {
		k = kind{"int16_t", "int16_t", "int32_t", "INT32_C(0x3fff)"}
	}
	for _, a := range about {
		line("// %s", strings.Map(func(r rune) rune {
			if r < ' ' || r == '\\' {
				return ' '
			}
			return r
		}, a))
	}
	line("//")
	line("// Call pulsewright_path once for each sample, %g times a second, with the converter's", f.cfg.RateHz)
	line("// count; it returns counts times %d. The first sample is taken as if it had stood for ever.", 1<<f.fraction)
	line("// A learning aid, not a medical device.")
	line("#ifndef PULSEWRIGHT_PATH_H")
	line("#define PULSEWRIGHT_PATH_H")
	line("#include <stdint.h>")
	line("")
	line("#define PULSEWRIGHT_RATE_HZ %g", f.cfg.RateHz)
	line("#define PULSEWRIGHT_FRACTION %d  // fractional bits of what is returned", f.fraction)
	line("#define PULSEWRIGHT_SECTIONS %d", len(f.sections))
	line("")
	line("typedef char pulsewright_needs_arithmetic_shift[(-1 >> 1) == -1 ? 1 : -1];")
	line("")
	n := max(1, len(f.sections))
	line("typedef struct {")
	line("  uint8_t started;")
	line("  %s x[%d][2], y[%d][2];  // of each section, one and two samples ago", k.data, n, n)
	line("  %s e[%d];               // what rounding cut off", k.data, n)
	line("} pulsewright_state;  // all zero before the first sample")
	line("")
	line("static inline int32_t pulsewright_path(pulsewright_state *s, int32_t count) {")
	if len(f.sections) > 0 {
		line("  // b0, b1, b2, a1, a2 and the gain at 0 Hz, in 1/2^%d", f.q)
		line("  static const %s c[PULSEWRIGHT_SECTIONS][6] = {", k.coef)
		for _, t := range f.sections {
			line("    {%d, %d, %d, %d, %d, %d},", t.b[0], t.b[1], t.b[2], t.a[0], t.a[1], t.gain)
		}
		line("  };")
	}
	line("  if (count < %d) count = %d;", f.low, f.low)
	line("  if (count > %d) count = %d;", f.high, f.high)
	line("  %s x = (%s)(count * %d);", k.data, k.data, 1<<f.guard)
	if len(f.sections) > 0 {
		line("  if (!s->started) {")
		line("    %s v = x;", k.data)
		line("    s->started = 1;")
		line("    for (uint8_t i = 0; i < PULSEWRIGHT_SECTIONS; i++) {")
		line("      s->x[i][0] = s->x[i][1] = v;")
		line("      v = (%s)((%s)v * c[i][5] >> %d);", k.data, k.acc, f.q)
		line("      s->y[i][0] = s->y[i][1] = v;")
		line("      s->e[i] = 0;")
		line("    }")
		line("  }")
		line("  for (uint8_t i = 0; i < PULSEWRIGHT_SECTIONS; i++) {")
		line("    %s acc = s->e[i];", k.acc)
		line("    acc += (%s)c[i][0] * x;", k.acc)
		line("    acc += (%s)c[i][1] * s->x[i][0];", k.acc)
		line("    acc += (%s)c[i][2] * s->x[i][1];", k.acc)
		line("    acc -= (%s)c[i][3] * s->y[i][0];", k.acc)
		line("    acc -= (%s)c[i][4] * s->y[i][1];", k.acc)
		line("    s->e[i] = (%s)(acc & %s);", k.data, k.mask)
		line("    s->x[i][1] = s->x[i][0];")
		line("    s->x[i][0] = x;")
		line("    x = (%s)(acc >> %d);", k.data, f.q)
		line("    s->y[i][1] = s->y[i][0];")
		line("    s->y[i][0] = x;")
		line("  }")
	}
	if len(f.sections) == 0 {
		line("  (void)s;")
	}
	line("  return (int32_t)x >> %d;", f.guard-f.fraction)
	line("}")
	line("")
	line("#endif")
	return b.String()
}
