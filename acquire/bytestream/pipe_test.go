package bytestream

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"pulsewright/acquire"
)

func TestStandardInput(t *testing.T) {
	r, w := io.Pipe()
	in := NewInput(r)
	stop := make(chan struct{})
	go func() {
		printLines(w, 0, stop)
		w.Close()
	}()
	s, err := in.Open(within(t), address(t, "-"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := in.Open(within(t), address(t, "-")); err == nil {
		t.Error("opened twice at once")
	}
	inOrder(t, read(t, s, 200))
	s.Close()
	if s, err = in.Open(within(t), address(t, "stdin:")); err != nil { // again, in midstream
		t.Fatal(err)
	}
	inOrder(t, read(t, s, 200))
	close(stop)
	if err := untilError(t, s); !errors.Is(err, io.EOF) {
		t.Errorf("at the end: %v", err)
	}
	s.Close()
}

// A file through the pipe comes whole, though it comes at once.
func TestStandardInputAtOnce(t *testing.T) {
	for _, n := range []int{3, 50, 300_000} {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, "pulse:%d\n", value(i))
		}
		s, err := NewInput(strings.NewReader(b.String())).Open(within(t), address(t, "-?rate=250&exact=1"))
		if err != nil {
			t.Fatal(err)
		}
		if info := s.Describe(); !info.ExactClock || info.ClaimedRateHz != 250 {
			t.Errorf("described as %+v", info)
		}
		var got []int32
		for ctx := within(t); ; {
			b, err := s.Read(ctx)
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if b.Len() > 0 {
				got = append(got, b.Counts[0]...)
			}
		}
		s.Close()
		if len(got) != n-1 && len(got) != n { // the first line may have been torn
			t.Fatalf("%d samples of %d", len(got), n)
		}
		inOrder(t, got)
	}
}

func TestStandardInputWithoutLines(t *testing.T) {
	for _, text := range []string{"", "hello\n", "no numbers here\nnor here\n"} {
		if _, err := NewInput(strings.NewReader(text)).Open(within(t), address(t, "-")); err == nil || !strings.Contains(err.Error(), "it ended before a line of numbers came") {
			t.Errorf("%q: %v", text, err)
		}
	}
	var bad *acquire.AddressError
	if _, err := NewInput(strings.NewReader("1\n2\n3\n4\n")).Open(within(t), address(t, "-?exact=1")); !errors.As(err, &bad) {
		t.Errorf("exact without a rate: %v", err)
	}
	if _, err := NewInput(strings.NewReader("1\n")).Open(within(t), address(t, "-?baud=9600")); !errors.As(err, &bad) {
		t.Errorf("baud: %v", err)
	}
}

// faulty is an input whose reading ends in a panic.
type faulty struct{}

func (faulty) Read([]byte) (int, error) { panic("an input's fault") }

// TestFaultOfTheInput: it ends the source and not the program.
func TestFaultOfTheInput(t *testing.T) {
	s, err := NewInput(faulty{}).Open(within(t), address(t, "-"))
	if err == nil {
		err = untilError(t, s)
		s.Close()
	}
	if err == nil || !strings.Contains(err.Error(), "an input's fault") {
		t.Errorf("it ended with %v", err)
	}
}
