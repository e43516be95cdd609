package recording

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// csvMaxLine bounds a line, so that a binary file or an endless line is refused.
const csvMaxLine = 1 << 20

// arrow is the separator "->", as between a stamp and what was read at it.
const arrow = '>'

// csvReader splits text into rows of fields. Fields are as in RFC 4180: quotes
// may enclose separators, doubled quotes and line ends.
type csvReader struct {
	r         *bufio.Reader
	separator Sign // ' ' means any run of blanks
	line      int  // of the row last read
	next      int
	fields    []string
	pairs     bool     // fields are name:value
	names     []string // of the pairs, in the order of the columns
	cells     []string // units behind the numbers, or nil
	comment   func(text string)
	buffer    []byte
	pending   []string // lines read ahead
	empty     int64    // lines without anything in them so far
}

var errLongLine = fmt.Errorf("a line of more than %d bytes", csvMaxLine)

func newCSVReader(in *input, separator Sign) *csvReader {
	return csvReaderOf(io.NewSectionReader(in, 0, in.size), separator)
}

func csvReaderOf(in io.Reader, separator Sign) *csvReader {
	return &csvReader{r: plainText(bufio.NewReaderSize(in, 1<<16)), separator: separator}
}

// watched reads a file in one of two passes, which the options' context ends.
type watched struct {
	r       io.Reader
	options OpenOptions
	size    int64
	done    int64
	pass    int
}

func (w *watched) Read(b []byte) (int, error) {
	if ctx := w.options.Context; ctx != nil && ctx.Err() != nil {
		return 0, context.Cause(ctx)
	}
	n, err := w.r.Read(b)
	if w.done += int64(n); w.options.Progress != nil && w.size > 0 {
		w.options.Progress((float64(w.pass) + float64(w.done)/float64(w.size)) / 2)
	}
	return n, err
}

// reader reads the whole file in pass 0 or 1.
func (p *csvPlan) reader(in *input, pass int) *csvReader {
	return csvReaderOf(&watched{r: io.NewSectionReader(in, 0, in.size), options: p.options, size: in.size, pass: pass}, p.separator)
}

// plainText gives UTF-8 with line ends of LF or CR LF: it takes a byte order mark away,
// turns UTF-16 that has one and what is no UTF-8, which Windows' letters of western Europe are then, into UTF-8, and lone CRs into LFs where no LF stands in the
// first 64 KiB.
func plainText(r *bufio.Reader) *bufio.Reader {
	mark, _ := r.Peek(3)
	switch {
	case len(mark) == 3 && string(mark) == "\xef\xbb\xbf":
		r.Discard(3)
	case len(mark) >= 2 && (string(mark[:2]) == "\xff\xfe" || string(mark[:2]) == "\xfe\xff"):
		decoder := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder()
		r = bufio.NewReaderSize(decoder.Reader(r), 1<<16)
	}
	if head, err := r.Peek(1 << 16); !utf8.Valid(head) && (err != nil || !utf8.Valid(head[:len(head)-utf8.UTFMax])) {
		r = bufio.NewReaderSize(charmap.Windows1252.NewDecoder().Reader(r), 1<<16)
	}
	if head, _ := r.Peek(1 << 16); bytes.IndexByte(head, '\r') >= 0 && bytes.IndexByte(head, '\n') < 0 {
		return bufio.NewReaderSize(lineEnds{r}, 1<<16)
	}
	return r
}

// lineEnds turns CR into LF.
type lineEnds struct{ r io.Reader }

func (l lineEnds) Read(b []byte) (int, error) {
	n, err := l.r.Read(b)
	for i, c := range b[:n] {
		if c == '\r' {
			b[i] = '\n'
		}
	}
	return n, err
}

// text returns the next line without its end, blank ones and comments left out.
func (c *csvReader) text() (string, error) {
	for {
		c.next++
		c.line = c.next
		line, err := c.raw()
		if err != nil {
			return "", err
		}
		t := strings.TrimLeft(line, " \t")
		if t == "" {
			c.empty++
			continue
		}
		if sign := commentSign(t); sign > 0 {
			if c.comment != nil {
				c.comment(strings.TrimSpace(t[sign:]))
			}
			continue
		}
		return unwrapped(line, t), nil
	}
}

// unwrapped takes the brackets away that enclose a whole line, as of a list or a JSON object; t is the line
// without blanks in front.
func unwrapped(line, t string) string {
	var closing byte
	switch t[0] {
	case '[':
		closing = ']'
	case '(':
		closing = ')'
	case '{':
		closing = '}'
	default:
		return line
	}
	if u := strings.TrimRight(t, " \t,"); strings.IndexByte(t, closing) == len(u)-1 && (closing != ')' || strings.ContainsAny(u, ",;")) {
		return u[1 : len(u)-1]
	}
	return line
}

// commentSign is the length of the sign that begins a comment: #, % or //; 0 for none.
func commentSign(line string) int {
	switch {
	case line[0] == '#' || line[0] == '%':
		return 1
	case strings.HasPrefix(line, "//"):
		return 2
	}
	return 0
}

func (c *csvReader) raw() (string, error) {
	if len(c.pending) > 0 {
		line := c.pending[0]
		c.pending = c.pending[1:]
		return line, nil
	}
	b, err := c.r.ReadSlice('\n')
	if err == bufio.ErrBufferFull {
		c.buffer = append(c.buffer[:0], b...)
		for err == bufio.ErrBufferFull && len(c.buffer) <= csvMaxLine {
			b, err = c.r.ReadSlice('\n')
			c.buffer = append(c.buffer, b...)
		}
		b = c.buffer
	}
	if len(b) > csvMaxLine {
		return "", errLongLine
	}
	if err != nil && (err != io.EOF || len(b) == 0) {
		return "", err
	}
	s := string(b)
	s = strings.TrimSuffix(s, "\n")
	return strings.TrimSuffix(s, "\r"), nil
}

// row returns the next row's fields, valid until the next call.
func (c *csvReader) row() ([]string, error) {
	line, err := c.text()
	if err != nil {
		return nil, err
	}
	if strings.IndexByte(line, '"') >= 0 {
		line = c.whole(line)
	}
	c.fields = splitRow(c.fields[:0], line, c.separator)
	if c.pairs {
		c.fields = inOrder(c.fields, c.names)
	}
	return withoutUnits(c.fields, c.cells), nil
}

// inOrder takes the values of name:value fields, each to the column of its name.
func inOrder(fields, names []string) []string {
	moved := false
	for i, f := range fields {
		name, value, ok := pair(f)
		if !ok {
			continue
		}
		fields[i] = value
		if i >= len(names) || names[i] != name {
			fields[i], moved = f, true
		}
	}
	if !moved {
		return fields
	}
	list := make([]string, len(names))
	for i, f := range fields {
		if name, value, ok := pair(f); !ok && i < len(names) {
			list[i] = f // its value was taken above
		} else if k := slices.Index(names, name); k >= 0 {
			list[k] = value
		}
	}
	return list
}

// withoutUnits takes each column's unit away behind its numbers.
func withoutUnits(fields, units []string) []string {
	for i, unit := range units {
		if i < len(fields) && unit != "" {
			fields[i] = strings.TrimSpace(strings.TrimSuffix(fields[i], unit))
		}
	}
	return fields
}

// mostQuoted bounds the lines of one quoted field.
const mostQuoted = 8

// whole adds the lines that a field in quotes goes on in. Where the quote is not closed soon it is a sign like others.
func (c *csvReader) whole(line string) string {
	all := line
	var more []string
	for openQuote(all, c.separator) && len(more) < mostQuoted {
		next, err := c.raw()
		if err != nil {
			break
		}
		more = append(more, next)
		all += "\n" + next
	}
	if len(more) > 0 && openQuote(all, c.separator) {
		c.pending = append(more, c.pending...)
		return strings.ReplaceAll(line, `"`, "")
	}
	c.next += len(more)
	return all
}

// openQuote tells a row that ends within a field in quotes.
func openQuote(line string, separator Sign) bool {
	quoted, start := false, true
	for i := 0; i < len(line); i++ {
		switch ch := line[i]; {
		case ch == '"' && quoted && i+1 < len(line) && line[i+1] == '"':
			i++
		case ch == '"' && (quoted || start):
			quoted, start = !quoted, false
		case ch == byte(separator) && !quoted:
			start = true
		case ch != ' ' && ch != '\t':
			start = false
		}
	}
	return quoted
}

// pair takes name:value or name=value apart, the value a number.
func pair(field string) (name, value string, ok bool) {
	i := strings.LastIndexAny(field, ":=")
	if i <= 0 || i+1 == len(field) {
		return "", "", false
	}
	name, value = strings.TrimSpace(field[:i]), strings.TrimSpace(field[i+1:])
	if _, _, ok := number(value, '.'); !ok || !strings.ContainsFunc(name, latinLetter) || strings.ContainsAny(name, ":=") {
		return "", "", false
	}
	return name, value, true
}

func latinLetter(r rune) bool { return 'a' <= r|0x20 && r|0x20 <= 'z' }

// splitRow appends the fields of one row, blanks around them removed.
func splitRow(fields []string, line string, separator Sign) []string {
	if separator == arrow {
		for part := range strings.SplitSeq(line, "->") {
			fields = append(fields, strings.TrimSpace(part))
		}
		return fields
	}
	if separator == ' ' {
		return append(fields, strings.Fields(line)...)
	}
	if strings.IndexByte(line, '"') < 0 {
		for {
			i := strings.IndexByte(line, byte(separator))
			if i < 0 {
				return append(fields, strings.TrimSpace(line))
			}
			fields = append(fields, strings.TrimSpace(line[:i]))
			line = line[i+1:]
		}
	}
	var b strings.Builder
	quoted := false
	for i := 0; i < len(line); i++ {
		switch ch := line[i]; {
		case ch == '"' && quoted && i+1 < len(line) && line[i+1] == '"':
			b.WriteByte('"')
			i++
		case ch == '"' && (quoted || strings.TrimSpace(b.String()) == ""):
			quoted = !quoted
		case ch == byte(separator) && !quoted:
			fields = append(fields, strings.TrimSpace(b.String()))
			b.Reset()
		default:
			b.WriteByte(ch)
		}
	}
	return append(fields, strings.TrimSpace(b.String()))
}
