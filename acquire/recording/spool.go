package recording

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
)

// spoolInts is how many samples of text stay in memory: 16 MB, while the text itself is read.
const spoolInts = 4 << 20

// spool holds samples parsed from text: in memory, above spoolInts in a
// temporary file.
type spool struct {
	channels int
	n        int64 // samples per channel
	buffer   []int32
	file     *os.File
	scratch  []byte
}

func (s *spool) add(row []int32) error {
	s.buffer = append(s.buffer, row...)
	s.n++
	if len(s.buffer) >= spoolInts || s.file != nil && len(s.buffer) >= 1<<16 {
		return s.flush()
	}
	return nil
}

func (s *spool) flush() error {
	if s.file == nil {
		t, err := os.CreateTemp("", "pulsewright-*.tmp")
		if err != nil {
			return err
		}
		s.file = t
	}
	s.scratch = s.scratch[:0]
	for _, v := range s.buffer {
		s.scratch = binary.LittleEndian.AppendUint32(s.scratch, uint32(v))
		if len(s.scratch) >= 1<<20 {
			if _, err := s.file.Write(s.scratch); err != nil {
				return err
			}
			s.scratch = s.scratch[:0]
		}
	}
	if cap(s.buffer) > 1<<17 {
		s.buffer = nil // from here on little waits
	}
	s.buffer = s.buffer[:0]
	_, err := s.file.Write(s.scratch)
	return err
}

// done ends the adding.
func (s *spool) done() error {
	if s.file != nil {
		return s.flush()
	}
	return nil
}

func (s *spool) read(counts [][]int32, from int64) (int, error) {
	n := int(min(int64(len(counts[0])), max(s.n-from, 0)))
	var err error
	if n < len(counts[0]) {
		err = io.EOF
	}
	if s.file == nil {
		for c, row := range counts {
			if row == nil {
				continue
			}
			k := int(from)*s.channels + c
			for i := range row[:n] {
				row[i] = s.buffer[k]
				k += s.channels
			}
		}
		return n, err
	}
	const step = 1 << 14
	for done := 0; done < n; {
		m := min(step, n-done)
		size := m * s.channels * 4
		if cap(s.scratch) < size {
			s.scratch = make([]byte, size)
		}
		b := s.scratch[:size]
		if _, err := s.file.ReadAt(b, (from+int64(done))*int64(s.channels)*4); err != nil {
			return done, err
		}
		for c, row := range counts {
			if row == nil {
				continue
			}
			k := c * 4
			for i := range m {
				row[done+i] = int32(binary.LittleEndian.Uint32(b[k:]))
				k += s.channels * 4
			}
		}
		done += m
	}
	return n, err
}

func (s *spool) Close() error {
	if s.file == nil {
		return nil
	}
	err := s.file.Close()
	return errors.Join(err, os.Remove(s.file.Name()))
}
