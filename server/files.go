package server

import (
	"context"
	"errors"
	"os"
	"syscall"
	"time"
)

// filesEvery is how often it is tried whether a file can be opened.
const filesEvery = 2 * time.Second

// noFiles is what the page says while none can be.
const noFiles = "This program can open no more files or connections: close other pages that show it, and programs that have many files open. Until then nothing new can be recorded, kept or imported."

// watchFiles tells on the page when the program has as many files and connections open as its system
// allows, and takes it back when that is over, until ctx ends.
func (s *Server) watchFiles(ctx context.Context) {
	tick := time.NewTicker(filesEvery)
	defer tick.Stop()
	for told := false; ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		f, err := os.Open(os.DevNull)
		if err == nil {
			f.Close()
		}
		out := errors.Is(err, syscall.EMFILE) || errors.Is(err, syscall.ENFILE)
		if out && !told {
			s.log.Error("no file can be opened", "err", err)
			s.session.Problem(noFiles)
		} else if !out && told {
			s.session.Solved(noFiles)
		}
		told = out
	}
}
