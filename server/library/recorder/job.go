package recorder

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"pulsewright/acquire/guard"
	"pulsewright/acquire/recording"
	"pulsewright/server/library/files"
)

// job is one recording being written on a goroutine of its own.
type job struct {
	name    string
	part    int   // of the recording, counted from 1
	cut     int64 // samples of it that stay in this part, the rest is in the next; 0 for all
	start   int64
	end     int64 // position to stop at; 0 for none
	kept    bool  // of what was before
	stop    int64 // position after the last sample, once among the late; the recorder's
	patient int64 // position from which on no late beat is waited for; the recorder's
	w       *recording.Writer
	views   *recordedViews // the writing goroutine's
	wake    chan struct{}
	ended   chan struct{}
	problem func(string)

	// Guarded by mu.
	mu      sync.Mutex
	path    string // "" until the file is made
	queue   []event
	size    int64
	closing bool
	length  int64
	rateHz  float64 // that the file has
	bytes   int64
	err     error
}

func (j *job) state() *State {
	j.mu.Lock()
	defer j.mu.Unlock()
	id := ""
	if j.path != "" {
		id = filepath.Base(j.path)
	}
	return &State{ID: id, Name: files.NameOf(id), Seconds: float64(j.length) / j.rateHz, Bytes: j.bytes}
}

// create makes the job's file. Called without mu, since a disk may be slow and
// the session must not wait for it. A job without a file has ended.
func (r *Recorder) create(j *job, header recording.Header) error {
	err := os.MkdirAll(r.config.Folder, 0o700)
	if err != nil {
		err = fmt.Errorf("recordings folder: %w; choose one that you may write to with -data", err)
	}
	var w *recording.Writer
	var path string
	if err == nil {
		path, err = files.Free(r.config.Folder, fileName(header, partName(j.name, j.part)), func(path string) (err error) {
			w, err = recording.Create(path, header)
			return err
		})
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if err != nil {
		j.err = err
		close(j.ended)
		return err
	}
	j.path, j.w = path, w
	return nil
}

// push hands an event to the writing goroutine.
func (j *job) push(e event) {
	j.mu.Lock()
	if j.closing || j.err != nil {
		j.mu.Unlock()
		return
	}
	if j.size += e.bytes(); j.size > queueBytes {
		j.err = fmt.Errorf("the disk has taken nothing for so long that %d MB wait: the recording %s ends here; what was written stays readable", queueBytes>>20, filepath.Base(j.path))
	}
	j.queue = append(j.queue, e)
	j.mu.Unlock()
	select {
	case j.wake <- struct{}{}:
	default:
	}
}

// finish lets the job write what waits and end.
func (j *job) finish() {
	j.mu.Lock()
	j.closing = true
	j.mu.Unlock()
	select {
	case j.wake <- struct{}{}:
	default:
	}
}

// take writes events, or, when none come, sees that what was written is on the disk.
func (j *job) take(list []event, idle bool) error {
	for _, e := range list {
		if err := write(j.w, e, j.start); err != nil {
			return err
		}
		j.views.add(e, j.start, j.w.Len())
	}
	if idle { // while something comes the Writer does it by itself
		return j.w.Sync()
	}
	return nil
}

// run writes until finished or failed.
func (j *job) run() {
	defer close(j.ended)
	var err error
	idle := false
	for {
		j.mu.Lock()
		list := j.queue
		j.queue, j.size = nil, 0
		closing := j.closing
		if err == nil {
			err = j.err
		}
		j.mu.Unlock()
		if err == nil {
			err = guard.Call("writing the recording", func() error { return j.take(list, idle) })
		}
		j.mu.Lock()
		j.length, j.rateHz, j.bytes = j.w.Len(), j.w.RateHz(), j.w.Bytes()
		j.err = err
		more := len(j.queue) > 0
		j.mu.Unlock()
		if err != nil || closing && !more {
			break
		}
		if more {
			continue
		}
		select {
		case <-j.wake:
			idle = false
		case <-time.After(syncEvery):
			idle = true
		}
	}
	if closeErr := j.w.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		if j.cut == 0 {
			j.views.save(j.path)
		}
		err = guard.Call("cutting the recording", j.cutAway)
	}
	if err != nil {
		j.mu.Lock()
		j.err = err
		j.mu.Unlock()
		j.problem("The recording stopped, the live view goes on: " + err.Error())
	}
}

// write puts one event into a file whose first sample is at position start.
func write(w *recording.Writer, e event, start int64) error {
	at := e.first - start
	switch {
	case e.rateHz > 0:
		return w.SetRate(e.rateHz)
	case e.counts != nil:
		return w.Write(e.counts, at)
	case e.lost > 0:
		if w.Len() != at {
			return nil // a gap before the first sample, or one that a jump in position will mark
		}
		return w.Gap(at, e.lost, e.text)
	}
	return w.Annotate(at, e.length, e.text)
}
