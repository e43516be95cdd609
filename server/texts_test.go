package server

import (
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/dsp/board"
)

// The rule for a board's name, which stands in a package that does not know ours, is that for all other names.
func TestNamesOfBoardsAsOfAllElse(t *testing.T) {
	b, err := board.Example(board.ExampleNames()[0])
	if err != nil {
		t.Fatal(err)
	}
	for r := range rune(0xe0100) {
		if r > 0x3000 && r < 0xfe00 || r > 0xffff && r < 0xe0000 {
			continue // without such signs, or few
		}
		b.Name = "a" + string(r)
		ours, theirs := acquire.CheckText("name", b.Name), b.Check()
		if (ours == nil) != (theirs == nil) {
			t.Fatalf("U+%04X: as a name %v, as a board's %v", r, ours, theirs)
		}
		if theirs != nil && (!strings.Contains(theirs.Error(), "U+") || !strings.Contains(theirs.Error(), "leave it out")) {
			t.Fatalf("U+%04X: %v", r, theirs)
		}
	}
}
