// Package guard keeps a fault of the program, a panic, from ending it: what ran is given
// up and the fault comes back as an error, for its owner to log and to show.
package guard

import (
	"fmt"
	"runtime/debug"
)

// Fault is a panic that was caught.
type Fault struct {
	What  string // was being done
	Value any    // of the panic
	Stack string // of the goroutine, for the log
}

// Error tells people; Stack is not in it.
func (f *Fault) Error() string {
	return fmt.Sprintf("%s: a fault of the program (%v); its log says where", f.What, f.Value)
}

// Call does f, which does what. A panic in it is returned as a *Fault. Locks that f holds
// without a deferred unlock stay held.
func Call(what string, f func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = &Fault{What: what, Value: p, Stack: string(debug.Stack())}
		}
	}()
	return f()
}
