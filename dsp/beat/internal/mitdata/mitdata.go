// Package mitdata reads records of the MIT-BIH databases for tests: signals of
// format 212 (gzip) and annotation files, as described with the open data. It is
// used by tests only; the program reads such files elsewhere.
package mitdata

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"io/fs"

	"pulsewright/dsp/beat/score"
)

// RateHz is the rate of mitdb and nstdb.
const RateHz = 360

// Signal reads both channels of name.dat.gz, format 212, in counts.
func Signal(fsys fs.FS, name string) (first, second []float64, err error) {
	f, err := fsys.Open(name + ".dat.gz")
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return nil, nil, fmt.Errorf("mitdata: %s: %w", name, err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		return nil, nil, fmt.Errorf("mitdata: %s: %w", name, err)
	}
	first, second = make([]float64, len(b)/3), make([]float64, len(b)/3)
	for i := range first {
		b0, b1, b2 := int(b[3*i]), int(b[3*i+1]), int(b[3*i+2])
		first[i] = float64(signed12(b0 | b1&15<<8))
		second[i] = float64(signed12(b2 | b1>>4<<8))
	}
	return first, second, nil
}

func signed12(v int) int {
	if v >= 2048 {
		v -= 4096
	}
	return v
}

// Annotations reads name.atr.
func Annotations(fsys fs.FS, name string) ([]score.Annotation, error) {
	b, err := fs.ReadFile(fsys, name+".atr")
	if err != nil {
		return nil, err
	}
	return Decode(bytes.NewReader(b))
}

// Decode reads annotations: little-endian words of a 6-bit code and a 10-bit step.
func Decode(r io.Reader) ([]score.Annotation, error) {
	b, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	var list []score.Annotation
	word := func(i int) int { return int(b[i]) | int(b[i+1])<<8 }
	var t int64
	for i := 0; i+1 < len(b); i += 2 {
		w := word(i)
		code, step := w>>10, w&1023
		switch {
		case w == 0:
			return list, nil
		case code == 59: // a long step, high word first
			if i+5 >= len(b) {
				return nil, fmt.Errorf("mitdata: annotation at byte %d is cut", i)
			}
			t += int64(int32(uint32(word(i+2))<<16 | uint32(word(i+4))))
			i += 4
		case code >= 60 && code <= 62: // number, subtype, channel
		case code == 63: // text
			i += (step + 1) &^ 1
		default:
			t += int64(step)
			list = append(list, score.Annotation{Sample: t, Code: code})
		}
	}
	return list, nil
}
