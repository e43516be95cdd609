// Package board computes what lies before the converter: sensor, coupling, gain,
// low-pass, buffer, divider, on one supply about a mid-rail. A Board is a list of stages
// made of parts, read from JSON (FORMAT.md). From it follow gain and phase, noise by
// source, settling, the span between the rails, hum's way in, and a SPICE netlist.
//
// All values are SI: ohm, farad, ampere, volt, hertz, second. A Board that Check passes
// may be read by many goroutines at once.
//
// Method: modified nodal analysis (Ho, Ruehli, Brennan, "The modified nodal approach to
// network analysis", IEEE Trans. Circuits and Systems 22 (1975) 504–509).
package board
