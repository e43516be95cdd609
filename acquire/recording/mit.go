package recording

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
)

// MITAnnotation is one entry of an annotation file in the MIT format.
type MITAnnotation struct {
	Sample  int64
	Code    int    // 1 to 49
	Subtype int    // of code 61, −128 to 127
	Channel int    // of code 62, carried to the entries after
	Number  int    // of code 60, carried to the entries after
	Text    string // of code 63, made safe
}

// ReadMITAnnotations reads an annotation file: little-endian 16-bit words of a
// 6-bit code and a 10-bit step in samples; 59 announces a 32-bit step, high half
// first; 60 to 63 add to the entry before. A word of 0 ends it. A
// file cut short gives what is whole and io.ErrUnexpectedEOF.
func ReadMITAnnotations(r io.Reader) ([]MITAnnotation, error) {
	in := bufio.NewReader(r)
	var list []MITAnnotation
	var at int64
	var channel, num int
	offset := int64(0)
	word := func() (uint16, error) {
		var b [2]byte
		n, err := io.ReadFull(in, b[:])
		offset += int64(n)
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			err = fmt.Errorf("recording: annotations: byte %d: %w", offset, err)
		}
		return binary.LittleEndian.Uint16(b[:]), err
	}
	for {
		w, err := word()
		if err != nil {
			return list, err
		}
		code, step := int(w>>10), int(w&1023)
		signed := int(int8(step)) // steps of 60 to 62 are small numbers
		last := len(list) - 1
		switch {
		case w == 0:
			return list, nil
		case code == 59:
			high, err := word()
			if err != nil {
				return list, err
			}
			low, err := word()
			if err != nil {
				return list, err
			}
			at += int64(int32(uint32(high)<<16 | uint32(low)))
		case code == 60:
			num = signed
			if last >= 0 {
				list[last].Number = num
			}
		case code == 61:
			if last >= 0 {
				list[last].Subtype = signed
			}
		case code == 62:
			channel = signed
			if last >= 0 {
				list[last].Channel = channel
			}
		case code == 63:
			b := make([]byte, step+step%2)
			n, err := io.ReadFull(in, b)
			offset += int64(n)
			if err != nil {
				return list, fmt.Errorf("recording: annotations: byte %d: a text of %d bytes: %w", offset, step, io.ErrUnexpectedEOF)
			}
			if last >= 0 {
				for n = 0; n < step && b[n] != 0; n++ {
				}
				list[last].Text = cleanText(string(b[:n]))
			}
		case code >= 50:
			return list, fmt.Errorf("recording: annotations: byte %d: code %d is not one of the format", offset-2, code)
		default:
			at += int64(step)
			if code == 0 {
				continue // a step alone
			}
			list = append(list, MITAnnotation{Sample: at, Code: code, Channel: channel, Number: num})
		}
	}
}
