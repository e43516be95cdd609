package guard

import (
	"errors"
	"strings"
	"testing"
)

func TestCall(t *testing.T) {
	own := errors.New("its own")
	if err := Call("reading", func() error { return own }); err != own {
		t.Errorf("an error came back as %v", err)
	}
	if err := Call("reading", func() error { return nil }); err != nil {
		t.Errorf("without an error came %v", err)
	}
	err := Call("reading a block", func() error { var list []int; list[len(list)] = 1; return nil })
	var fault *Fault
	if !errors.As(err, &fault) {
		t.Fatalf("a panic came back as %v", err)
	}
	if !strings.Contains(err.Error(), "reading a block") || !strings.Contains(err.Error(), "index out of range") || !strings.Contains(fault.Stack, "TestCall") {
		t.Errorf("the fault says %v, stack\n%s", err, fault.Stack)
	}
}
