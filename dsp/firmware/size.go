package firmware

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

// ConstantBytes is the program memory that the path's coefficients take.
func (f *Filter) ConstantBytes() int {
	if f.cfg.Form == Small {
		return 12 * len(f.sections)
	}
	return 24 * len(f.sections)
}

// Cost is what a whole program takes of an ATmega328P.
type Cost struct {
	Cycles     int `json:"cycles"`     // a sample, lines and interrupts included
	FlashBytes int `json:"flashBytes"` // of 32768
	RAMBytes   int `json:"ramBytes"`   // of 2048, the stack's deepest included
}

// Cost is fitted to sixty programs, run on a simulated ATmega328P (gcc 5.4, -Os): within
// 7 % of the cycles, 10 % of the flash, 3 % of the RAM.
func (b *Board) Cost() Cost {
	n := len(b.path.sections)
	c := Cost{Cycles: 18600 + 1620*n + 3530/b.finder.n.every, FlashBytes: 6680 + 17*n, RAMBytes: 363 + 20*max(1, n)}
	if b.cfg.Form == Small {
		c = Cost{Cycles: 16000 + 456*n + 3400/b.finder.n.every, FlashBytes: 6080, RAMBytes: 343 + 10*max(1, n)}
	}
	if n == 0 {
		c.FlashBytes -= 600
	}
	const stack = 170
	c.RAMBytes += 4*len(b.finder.ring) + stack
	return c
}
