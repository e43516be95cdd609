//go:build !js

package command

import (
	"os/signal"
	"syscall"
)

// ignoreClosedPipe makes writing to a closed pipe an error, until the function it
// returns is called.
func ignoreClosedPipe() func() {
	signal.Ignore(syscall.SIGPIPE)
	return func() { signal.Reset(syscall.SIGPIPE) }
}
