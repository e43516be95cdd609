package serialport

import (
	"bytes"
	"unicode/utf8"
)

// field is one value of a line.
type field struct {
	value      number
	name, unit []byte // or nil; valid until the next line is read
}

// dialect is how a board writes numbers, as far as a line alone does not tell.
type dialect struct {
	hex   bool // 1FF is a number
	comma bool // 1,753 is one number
}

// tokens takes lines apart. It reads rows of numbers ("512,498"), pairs ("pulse:512
// ecg:3"), objects ({"pulse":512}), and numbers with words before and units after them
// ("Sensor value: 3.95 V"). It does not allocate once its scratch has grown.
type tokens struct {
	dialect  dialect
	fields   [maxColumns]field
	n        int
	trailing bool   // the line ended with a separator
	worded   bool   // words were between the numbers
	padded   uint64 // fields with zeros in front, as decimals have them and whole numbers not
	wide     bool   // more than maxColumns numbers
	scratch  []byte
}

// read splits a line into fields; false when it is not a row.
func (t *tokens) read(b []byte) bool {
	t.worded, t.wide = false, false
	if t.dialect.comma || decimalCommas(b) {
		t.scratch = append(t.scratch[:0], b...)
		for i, c := range t.scratch {
			if c == ',' && i > 0 && isDigit(t.scratch[i-1]) && i+1 < len(t.scratch) && isDigit(t.scratch[i+1]) {
				t.scratch[i] = '.'
			}
		}
		b = t.scratch
	}
	if t.scan(b) {
		return true
	}
	if t.wide {
		return false
	}
	if len(b) > 1 && b[0] == '>' { // a prompt
		if b = trim(b[1:]); t.scan(b) {
			return true
		}
	}
	if inner, ok := enclosed(b); ok {
		if b[0] == '{' {
			return t.object(inner)
		}
		return t.scan(inner)
	}
	t.worded = true
	return t.words(b)
}

// decimalCommas tells that the commas of a line are decimal marks: other separators
// stand beside them and each lies between two digits, or they follow names.
func decimalCommas(b []byte) bool {
	commas, others, spaced, parts := 0, 0, true, 0
	inPart := 0
	for i, c := range b {
		switch c {
		case ',':
			if i == 0 || i+1 == len(b) || !isDigit(b[i-1]) || !isDigit(b[i+1]) {
				return false
			}
			commas++
			inPart++
		case ';', '\t', ':', '=':
			others++
		case ' ':
			parts++
			spaced = spaced && inPart == 1
			inPart = 0
		}
	}
	return commas > 0 && (others > 0 || parts > 0 && spaced && inPart == 1)
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// enclosed gives what stands in brackets.
func enclosed(b []byte) ([]byte, bool) {
	if len(b) < 3 {
		return nil, false
	}
	end := map[byte]byte{'{': '}', '[': ']', '(': ')'}[b[0]]
	if end == 0 || b[len(b)-1] != end {
		return nil, false
	}
	return trim(b[1 : len(b)-1]), true
}

// scan splits a line of numbers or of pairs.
func (t *tokens) scan(b []byte) bool {
	t.n, t.trailing, t.padded = 0, false, 0
	named := 0
	for i := 0; ; {
		if i = skipSoft(b, i); i >= len(b) {
			break
		}
		if t.n == maxColumns {
			t.wide = true
			return false
		}
		f := &t.fields[t.n]
		*f = field{}
		t.trailing = false
		if b[i] == ',' || b[i] == ';' {
			f.value = number{missing: true}
		} else {
			var ok bool
			if i, ok = t.one(b, i, f); !ok {
				return false
			}
			if f.name != nil {
				named++
			}
		}
		t.n++
		if i < len(b) && (b[i] == ',' || b[i] == ';') {
			t.trailing = true
			i++
		}
	}
	return t.n > 0 && (named == 0 || named == t.n)
}

// one reads a number or a pair at i and returns where the next separator stands.
func (t *tokens) one(b []byte, i int, f *field) (next int, ok bool) {
	start := i
	i = tokenEnd(b, i)
	token := b[start:i]
	if j := skipSoft(b, i); isNameStart(token) && j < len(b) && (b[j] == ':' || b[j] == '=' || b[j] == '[') {
		f.name = token
		if b[j] == '[' {
			end := bytes.IndexByte(b[j:], ']')
			if end < 0 {
				return 0, false
			}
			f.unit = trim(b[j+1 : j+end])
			j = skipSoft(b, j+end+1)
			if j >= len(b) || b[j] != ':' && b[j] != '=' {
				return 0, false
			}
		}
		i = skipSoft(b, j+1)
		start = i
		i = tokenEnd(b, i)
		token = b[start:i]
	}
	if len(token) == 0 && f.name != nil {
		f.value = number{missing: true}
	} else if f.value, ok = t.number(token); !ok {
		return 0, false
	}
	if len(token) > 1 && token[0] == '0' && isDigit(token[1]) && (t.n == 0 || b[start-1] == ',') {
		t.padded |= 1 << t.n
	}
	end := i
	i = skipSoft(b, i)
	return i, i >= len(b) || i != end || b[i] == ',' || b[i] == ';' // not "12:30"
}

func (t *tokens) number(token []byte) (number, bool) {
	if t.dialect.hex {
		if n, ok := parseHex(token); ok {
			return n, true
		}
	}
	return parseNumber(token)
}

// object reads the inside of {"pulse":512,"ecg":3}. What is no number is a missing value.
func (t *tokens) object(b []byte) bool {
	t.n, t.trailing, t.padded = 0, false, 0
	for i := skipSoft(b, 0); i < len(b); {
		if t.n == maxColumns {
			t.wide = true
			return false
		}
		quote := b[i]
		if quote != '"' && quote != '\'' {
			return false
		}
		end := bytes.IndexByte(b[i+1:], quote)
		if end < 1 || end > maxNameBytes {
			return false
		}
		f := &t.fields[t.n]
		*f = field{name: b[i+1 : i+1+end]}
		if i = skipSoft(b, i+end+2); i >= len(b) || b[i] != ':' || !utf8.Valid(f.name) {
			return false
		}
		i = skipSoft(b, i+1)
		start := i
		if i < len(b) && b[i] == '"' {
			end := bytes.IndexByte(b[i+1:], '"')
			if end < 0 {
				return false
			}
			i += end + 2
		}
		for i < len(b) && b[i] != ',' {
			if b[i] == '{' || b[i] == '[' {
				return false
			}
			i++
		}
		value := bytes.Trim(b[start:i], "\" \t")
		var ok bool
		if f.value, ok = parseNumber(value); !ok {
			f.value = number{missing: true}
		}
		t.n++
		i = skipSoft(b, i+1)
	}
	return t.n > 0
}

// words reads numbers with words before or units after them.
func (t *tokens) words(b []byte) bool {
	t.n, t.trailing, t.padded = 0, false, 0
	named, units := 0, 0
	for i := 0; ; t.n++ {
		for i < len(b) && isSeparator(b[i]) {
			i++
		}
		if i >= len(b) {
			break
		}
		if t.n == maxColumns {
			t.wide = true
			return false
		}
		f := &t.fields[t.n]
		*f = field{}
		var ok bool
		if i, ok = wordsBefore(b, i, f); !ok {
			return false
		}
		if i, ok = withUnit(b, i, f); !ok {
			return false
		}
		if f.name != nil {
			named++
		}
		if f.unit != nil {
			units++
		}
	}
	return t.n > 0 && (named == t.n || named == 0 && units > 0)
}

func isSeparator(c byte) bool { return c == ' ' || c == '\t' || c == ',' || c == ';' || c == '|' }

// wordsBefore reads what stands before a number at i: up to four words, then a colon, an
// equals sign or nothing.
func wordsBefore(b []byte, i int, f *field) (int, bool) {
	start, spaces := i, 0
	for ; i < len(b) && b[i] != ':' && b[i] != '='; i++ {
		c := b[i]
		if (i == start || b[i-1] == ' ' || b[i-1] == '\t') && beginsNumber(b[i:]) {
			break
		}
		if c == ' ' {
			spaces++
		}
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || isDigit(c) || c == ' ' || c == '\t' || c == '_' || c == '-' || c >= 0x80) {
			return 0, false
		}
	}
	name := trim(b[start:i])
	if len(name) == 0 {
		return i, i < len(b) && b[i] != ':' && b[i] != '='
	}
	if !isNameStart(name) || len(name) < 2 || spaces > 4 || !isText(name) {
		return 0, false
	}
	f.name = name
	if i < len(b) && (b[i] == ':' || b[i] == '=') {
		i++
	}
	i = skipSoft(b, i)
	return i, i < len(b)
}

func beginsNumber(b []byte) bool {
	if len(b) > 1 && (b[0] == '-' || b[0] == '+') {
		b = b[1:]
	}
	return len(b) > 0 && isDigit(b[0]) || len(b) > 1 && b[0] == '.' && isDigit(b[1])
}

// withUnit reads a number at i and a unit known by name after it.
func withUnit(b []byte, i int, f *field) (int, bool) {
	end := i
	for end < len(b) && !isSeparator(b[end]) {
		end++
	}
	token := b[i:end]
	var ok bool
	if f.value, ok = parseNumber(token); ok {
		at := skipSoft(b, end)
		stop := at
		for stop < len(b) && !isSeparator(b[stop]) {
			stop++
		}
		next := stop
		for next < len(b) && (b[next] == ' ' || b[next] == '\t') {
			next++
		}
		if at > end && isUnit(b[at:stop]) && !(next > stop && beginsNumber(b[next:])) {
			f.unit, end = b[at:stop], stop
		}
		return end, true
	}
	cut := 0
	for cut < len(token) && (isDigit(token[cut]) || token[cut] == '.' || token[cut] == '-' || token[cut] == '+') {
		cut++
	}
	if f.value, ok = parseNumber(token[:cut]); !ok || !isUnit(token[cut:]) {
		return 0, false
	}
	f.unit = token[cut:]
	return end, true
}

// isUnit knows the units that boards print after a number.
func isUnit(b []byte) bool {
	switch string(b) {
	case "V", "v", "mV", "mv", "uV", "uv", "µV", "μV", "nV", "A", "mA", "uA", "µA", "%", "bpm", "BPM", "Hz", "kHz", "s", "ms", "us", "µs",
		"LSB", "count", "counts", "bit", "bits", "C", "°C", "degC", "lux", "lx", "hPa", "kPa", "mmHg", "Ohm", "ohm", "kOhm":
		return true
	}
	return false
}

// bareHex tells that a line is nothing but hexadecimal digits in columns, and whether a
// letter is among them.
func bareHex(b []byte) (hex, letter bool) {
	run := 0
	for _, c := range b {
		switch {
		case isDigit(c):
			run++
		case c >= 'A' && c <= 'F', c >= 'a' && c <= 'f':
			run++
			letter = true
		case isSeparator(c):
			run = 0
		default:
			return false, false
		}
		if run > 7 {
			return false, false
		}
	}
	return len(b) > 0, letter
}

func skipSoft(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\t') {
		i++
	}
	return i
}

func tokenEnd(b []byte, i int) int {
	for i < len(b) {
		switch b[i] {
		case ' ', '\t', ',', ';', ':', '=', '[':
			return i
		}
		i++
	}
	return i
}

func isNameStart(b []byte) bool {
	if len(b) == 0 || len(b) > maxNameBytes {
		return false
	}
	c := b[0]
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_' || c >= 0x80 && utf8.Valid(b)
}

func trim(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t') {
		b = b[1:]
	}
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t' || b[len(b)-1] == 0) {
		b = b[:len(b)-1]
	}
	return b
}

// isText reports printable UTF-8 with at least one letter or more than a few signs.
func isText(b []byte) bool {
	letters := 0
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		if r == utf8.RuneError && n <= 1 || r < 0x20 && r != '\t' || r >= 0x7f && r < 0xa0 {
			return false
		}
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= 0xa0 {
			letters++
		}
		b = b[n:]
	}
	return letters > 0
}
