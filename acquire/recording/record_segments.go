package recording

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"pulsewright/acquire"
)

// recordPart is one line of a record of several segments: a record beside it, or "~" for a time in
// which nothing was recorded.
type recordPart struct {
	name    string
	samples int64
}

// mostParts bounds the segments of a record, each of which holds files open.
const mostParts = 500

// parsePart reads such a line.
func parsePart(text string) (p recordPart, bad string) {
	w := strings.Fields(text)
	if len(w) != 2 {
		return p, fmt.Sprintf("%q is no segment line: name and number of samples", shorten(text))
	}
	n, err := strconv.ParseInt(w[1], 10, 64)
	if err != nil || n < 0 || n > maxLen/mostParts {
		return p, fmt.Sprintf("number of samples %q of a segment", shorten(w[1]))
	}
	if w[0] != "~" && (w[0] != filepath.Base(w[0]) || strings.HasPrefix(w[0], ".") || strings.ContainsAny(w[0], `/\`)) {
		return p, fmt.Sprintf("segment %q: only records in the header's own folder are read", shorten(w[0]))
	}
	return recordPart{w[0], n}, ""
}

// partsStore reads segments one after another; stored positions count those there are.
type partsStore struct {
	parts  []openPart
	length int64
}

// openPart is a segment: places tells of each channel which of the segment's it is, −1 none.
type openPart struct {
	file   *File
	places []int
	at, n  int64
}

func (s *partsStore) read(counts [][]int32, from int64) (int, error) {
	done, want := 0, len(counts[0])
	for _, p := range s.parts {
		at := from + int64(done) - p.at
		if at < 0 || at >= p.n || done == want {
			continue
		}
		n := int(min(int64(want-done), p.n-at))
		rows := make([][]int32, len(p.file.info.Channels))
		for i := range rows {
			rows[i] = make([]int32, n)
		}
		if got, err := p.file.ReadAt(rows, at); got < n {
			return done, err
		}
		for c, place := range p.places {
			if counts[c] == nil {
				continue
			}
			if part := counts[c][done : done+n]; place < 0 {
				fill(part, acquire.MissingCount)
			} else {
				copy(part, rows[place])
			}
		}
		done += n
	}
	if done < want {
		return done, fmt.Errorf("sample %d is in no segment", from+int64(done))
	}
	return done, nil
}

func (s *partsStore) Close() error {
	var all error
	for _, p := range s.parts {
		all = errors.Join(all, p.file.Close())
	}
	return all
}

// openSegments opens a record of several segments. Its channels are those of the layout, a first
// segment without samples, or else of the first segment; a channel that a segment does not have is missing
// there. Times without a record are gaps.
func openSegments(h *recordHeader, path string) (f *File, err error) {
	f, st := &File{format: "PhysioNet record (.hea)", path: path}, &partsStore{}
	f.info.Name, f.info.Started = h.name, h.started
	defer func() {
		if err != nil {
			st.Close()
		}
	}()
	bad := func(i int, format string, a ...any) error {
		return &FormatError{Path: path, Line: i + 2, Reason: fmt.Sprintf(format, a...)}
	}
	at := int64(0)
	f.segments = []segment{}
	for i, part := range h.parts {
		if part.name == "~" {
			at += part.samples
			continue
		}
		one, err := openSegment(path, part.name)
		if err != nil {
			return f, err
		}
		if f.info.Channels == nil {
			f.info.Channels, f.info.ClaimedRateHz = one.Describe().Channels, one.info.ClaimedRateHz
		}
		p := openPart{file: one, n: min(part.samples, one.Len()), at: st.length}
		if part.samples == 0 || p.n == 0 {
			one.Close()
			continue
		}
		st.parts = append(st.parts, p)
		if one.info.ClaimedRateHz != f.info.ClaimedRateHz {
			return f, bad(i, "segment %q has %g Hz, the one before %g Hz: one rate can be read", part.name, one.info.ClaimedRateHz, f.info.ClaimedRateHz)
		}
		for _, c := range f.info.Channels {
			place := -1
			for k, d := range one.info.Channels {
				if d.Label != c.Label {
					continue
				}
				if place = k; d.VoltsPerCount != c.VoltsPerCount || d.OffsetVolts != c.OffsetVolts || d.Unit != c.Unit {
					return f, bad(i, "segment %q scales %q otherwise than the first: open it by itself", part.name, c.Label)
				}
				break
			}
			st.parts[len(st.parts)-1].places = append(st.parts[len(st.parts)-1].places, place)
		}
		if p.n < part.samples {
			f.remark("segment %q has %d samples, %d were promised: the rest is missing", part.name, p.n, part.samples)
		}
		f.segments = append(f.segments, segment{at, st.length, p.n})
		st.length += p.n
		at += part.samples
	}
	if len(st.parts) == 0 {
		return f, bad(0, "no segment of it has samples")
	}
	f.store, f.length = st, at
	return f, nil
}

// openSegment opens a record beside a header.
func openSegment(path, name string) (*File, error) {
	hea := filepath.Join(filepath.Dir(path), name+".hea")
	in, err := openInput(hea)
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("%w (the header %s names this segment: put it beside it)", err, path)
	}
	if err != nil {
		return nil, err
	}
	h, err := parseHeader(io.NewSectionReader(in, 0, in.size), hea)
	if err == nil && h.parts != nil {
		err = &FormatError{Path: hea, Line: 1, Reason: "it is a segment and has segments of its own, which only a record may"}
	}
	var f *File
	if err == nil {
		f, err = openRecord(in, hea)
	}
	if err == nil {
		err = f.finish()
	}
	if err != nil {
		in.Close()
		return nil, err
	}
	return f, nil
}
