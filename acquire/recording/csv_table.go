package recording

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Where the columns' names stand, as OpenOptions.Names.
const (
	firstRow = "first-row"
	noNames  = "none"
)

// tableLine is a line looked at to find the table.
type tableLine struct {
	at             int
	fields         []string
	numbers, words int
}

// table is where a text file's rows of numbers may begin.
type table struct {
	p     *csvPlan
	width int // usual number of fields
	lines []tableLine
	reads []bool // by column: most lines have a number or a time there
}

func (p *csvPlan) tableOf(lines []string) *table {
	t := &table{p: p, width: usualWidth(lines, p.separator)}
	reads, usual := make([]int, t.width), 0
	for i, line := range lines {
		l := tableLine{at: i, fields: p.split(line)}
		l.numbers, l.words = p.weigh(l.fields)
		t.lines = append(t.lines, l)
		if len(l.fields) != t.width {
			continue
		}
		usual++
		for k, s := range l.fields {
			if p.readable(s) {
				reads[k]++
			}
		}
	}
	for _, n := range reads {
		t.reads = append(t.reads, 2*n > usual)
	}
	return t
}

// sums tells a line with numbers that begins with words where most begin with a number, as "Mean,512" or, of
// names, "time,1,2".
func (t *table) sums(l tableLine) bool {
	k := leading(l.fields)
	if l.numbers == 0 || k >= len(l.fields) || k >= t.width || !t.reads[k] || t.p.readable(l.fields[k]) {
		return false
	}
	kind, _ := clockOf(splitUnit(l.fields[k]))
	return kind == noClock
}

// named tells that line i is one of words alone, as wide as the table.
func (t *table) named(i int) bool {
	l := t.lines[i]
	return len(l.fields) == t.width && l.numbers == 0 && l.words > 0
}

// isRow tells a row of numbers: with more of them than words or, with fewer, one that goes on as the next, which
// has more, as "0.000,ERR".
func (t *table) isRow(l tableLine) bool {
	if len(l.fields) != t.width {
		return false
	}
	k := leading(l.fields)
	if k < t.width && t.reads[k] && !t.p.readable(l.fields[k]) && l.words > 0 {
		// Words in front: names as "time,1,2", or what sums up below names.
		kind, _ := clockOf(splitUnit(l.fields[k]))
		return l.numbers > l.words && kind == noClock && !counted(l.fields[k+1:]) && !slices.ContainsFunc(t.lines[:l.at], func(b tableLine) bool { return t.named(b.at) })
	}
	if l.numbers > l.words || l.words == 0 && l.numbers == 0 {
		return true
	}
	if l.numbers == 0 || k > 0 || l.at+1 >= len(t.lines) {
		return false
	}
	next := t.lines[l.at+1]
	x, d, ok := number(l.fields[0], t.p.point)
	if len(next.fields) != t.width || next.numbers <= next.words {
		return false
	}
	y, dy, alike := number(next.fields[0], t.p.point)
	return ok == alike && (!ok || d == dy && x <= y) && t.p.readable(next.fields[0])
}

// nameColumns takes the columns' names.
func (p *csvPlan) nameColumns(names []string) {
	for _, s := range names {
		p.columns = append(p.columns, named(s))
	}
}

// nameByFirst decides on the first row of a table that no line of names stands above: it may be names all the
// same, as "0,1,2", which programs write that number their columns.
func (p *csvPlan) nameByFirst(t *table, begin int) {
	first := t.lines[begin]
	said := p.options.Names == firstRow
	if !said && first.words > 0 {
		p.namesDoubt = firstDoubt(first.fields, "a sample", noNames)
	}
	index := first.fields[0] == "" && begin+1 < len(t.lines) && t.lines[begin+1].fields[0] != "" // unnamed
	names := first.fields
	if index {
		names = names[1:]
	}
	if begin+1 >= len(t.lines) || !said && (first.words > 0 || !counted(names) || !index && !t.unlike(begin)) {
		return
	}
	p.nameColumns(first.fields)
	p.header = begin + 1
	if p.numbered = counted(names); !p.numbered {
		p.names = first.fields
	} else if !index && !said {
		p.namesDoubt = firstDoubt(first.fields, "the columns' names", firstRow)
	}
}

func firstDoubt(fields []string, what, taken string) Doubt {
	return Doubt{"names", fmt.Sprintf("the row %q was taken for %s", shorten(strings.Join(fields, " | ")), what), taken}
}

// counted tells fields that count from 0 or from 1.
func counted(fields []string) bool {
	begin := 0
	for i, s := range fields {
		n, err := strconv.Atoi(strings.Trim(s, "'"))
		if i == 0 {
			begin = n
		}
		if err != nil || begin < 0 || begin > 1 || n != begin+i {
			return false
		}
	}
	return len(fields) > 0
}

// unlike tells that a row that counts is none of those that follow: where all of those have decimals it has none or, of more
// than one column, a value lies far from theirs.
func (t *table) unlike(begin int) bool {
	const enough = 3
	rest := t.lines[begin+1:]
	for k, s := range t.lines[begin].fields {
		x, _, _ := number(s, t.p.point)
		low, high, whole, n := math.Inf(1), math.Inf(-1), 0, 0
		for _, l := range rest {
			if k >= len(l.fields) {
				continue
			}
			if y, d, ok := number(l.fields[k], t.p.point); ok {
				n++
				low, high = min(low, y), max(high, y)
				if d == 0 {
					whole++
				}
			} else if t.p.readable(l.fields[k]) {
				return len(rest) >= enough // a time
			}
		}
		if n >= enough && (whole == 0 || t.width > 1 && (x < low-(high-low)-1 || x > high+(high-low)+1)) {
			return true
		}
	}
	return false
}

// mostSums bounds the rows at the table's end that sum it up, mostTail all below it with the empty ones.
const (
	mostSums = 20
	mostTail = 10_000
)

// empty tells a row of fields without anything in them.
func empty(fields []string) bool {
	return len(fields) > 1 && !slices.ContainsFunc(fields, func(s string) bool { return s != "" })
}

// wordsFirst tells a row that begins with words in a column that holds numbers or times, as "Mean" or "Max" below a table.
func (p *csvPlan) wordsFirst(fields []string) bool {
	k := leading(fields)
	if p.pairs || k >= len(fields) || k >= len(p.firstRows[0]) {
		return false
	}
	r, _ := utf8.DecodeRuneInString(fields[k])
	return unicode.IsLetter(r) && p.readable(p.firstRows[0][k]) && !p.readable(fields[k])
}

// leading is a row's first field that says something, len(fields) for none.
func leading(fields []string) int {
	for k, s := range fields {
		if !missingWord(s) {
			return k
		}
	}
	return len(fields)
}
