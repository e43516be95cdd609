// Pulsewright is a local web dashboard for people who build their own heartbeat
// front ends. See README.md.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"pulsewright/server/command"
)

//go:generate go run ./testdata/make.go

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	status := command.Run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}
