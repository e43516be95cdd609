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
