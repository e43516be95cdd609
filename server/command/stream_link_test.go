//go:build !windows

package command

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
)

// streamedFrom streams lines of standard input with the settings of a data folder.
func streamedFrom(t *testing.T, folder, source, text string) (out, warned string) {
	t.Helper()
	var stdout, warn bytes.Buffer
	o := streamFlags{source: source, points: []int{0}, data: folder, stdin: strings.NewReader(text), warn: &warn}
	if err := streamTo(t.Context(), o, &stdout, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	return stdout.String(), warn.String()
}

// Lines out of order are left out, counted and told at the end.
func TestStreamTellsLinesOutOfOrder(t *testing.T) {
	var b strings.Builder
	b.WriteString("t_us,pulse\n")
	for i := range 2000 {
		at := i
		if i >= 500 && i%100 < 2 { // two swapped
			at = i ^ 1
		}
		fmt.Fprintf(&b, "%d,%d\n", 4000*at, 500+i%7)
	}
	_, warned := streamedFrom(t, t.TempDir(), "-", b.String())
	if want := "lost on the link: 15 lines out of order (their time or counter is earlier than in the line before), left out"; !strings.Contains(warned, want) {
		t.Errorf("said %q, want %q in it", warned, want)
	}
}

// What the page was told of a board's columns holds for stream, too; another board's lines, which have other
// columns, come as they are.
func TestStreamUsesRememberedColumns(t *testing.T) {
	var two, three strings.Builder
	for i := range 2000 {
		fmt.Fprintf(&two, "%d,%d\n", 500+i%7, 300+i%5)
		fmt.Fprintf(&three, "%d,%d,%d\n", 500+i%7, 300+i%5, 10+i%3)
	}
	folder := t.TempDir()
	page := rememberColumns(openers(nil, nil, strings.NewReader(two.String())), folder, slog.New(slog.DiscardHandler))
	s, err := page.Open(context.Background(), "-?rate=250&exact=1&names="+strings.ReplaceAll("-,lead [mV] (ecg)", " ", "%20"))
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	head := func(text string) string { first, _, _ := strings.Cut(text, "\n"); return first }
	out, _ := streamedFrom(t, folder, "-?rate=250&exact=1", two.String())
	if got := head(out); got != "sample,time_s,lead scale [V]" {
		t.Errorf("header %s", got)
	}
	out, _ = streamedFrom(t, folder, "-?rate=250&exact=1", three.String())
	if got := strings.Count(head(out), "scale"); got != 3 {
		t.Errorf("header of other columns %s", head(out))
	}
	if got := strings.Count(out, "\n"); got < 1999 {
		t.Errorf("%d lines of 2000 came", got)
	}
}
