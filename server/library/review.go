package library

import (
	"context"
	"os"
	"slices"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/library/overview"
)

const (
	// openReviews bounds how many recordings are held open for looking at.
	openReviews = 8
	// firstLook is left to the first views before the whole file is read.
	firstLook = 300 * time.Millisecond
	// learnAtOnceSeconds is the longest recording whose annotations are read before the
	// first view: what happened to its channels, and so their unit, is then known at once.
	learnAtOnceSeconds = 3600
)

// Reviews holds recordings open for looking at. Safe for concurrent use.
type Reviews struct {
	store   *Store         // immutable
	leaving sync.WaitGroup // reviews that are being closed
	rating  once

	// Guarded by mu.
	mu   sync.Mutex
	open []*review // the last used first
}

// review is one recording open for looking at.
type review struct {
	// Immutable after get.
	id     string
	path   string
	size   int64
	opened time.Time
	info   acquire.Info
	life   context.Context // ends with the review
	work   sync.WaitGroup  // what builds pyramids

	// Guarded by mu: reading, and what is built.
	mu      sync.Mutex
	file    *recording.File
	rec     *channel.Recording // of file
	pyramid *overview.Pyramid
	share   float64       // of the pyramid that is built
	took    time.Duration // building it; 0 until it is built
	err     error
	stop    context.CancelFunc
	ended   chan struct{}
	// told is what the annotations tell; they are read from a file of their own, so
	// that views need not wait for it.
	told told
	// filteredAll is the whole recording after the paths looked at last, or nil.
	filteredAll *filteredPyramid
}

// told is what a recording's annotations tell.
type told struct {
	// Guarded by mu.
	mu          sync.Mutex
	read        bool
	annotations []recording.Annotation
	gaps        []recording.Gap
}

// annotations reads them once.
func (r *review) annotations() ([]recording.Annotation, []recording.Gap, error) {
	t := &r.told
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.read {
		file, err := Open(r.path, recording.OpenOptions{})
		if err != nil {
			return nil, nil, err
		}
		t.annotations, t.gaps, t.read = file.Annotations(), file.Gaps(), true
		file.Close()
		r.mu.Lock()
		r.rec.LearnFrom(func() []recording.Annotation { return t.annotations })
		r.mu.Unlock()
	}
	return t.annotations, t.gaps, nil
}

// another opens the recording once more, so that whoever reads it need not wait.
func (r *review) another() (*channel.Recording, error) {
	if err := r.learn(); err != nil {
		return nil, err
	}
	file, err := Open(r.path, recording.OpenOptions{})
	if err != nil {
		return nil, err
	}
	rec := channel.Open(file, Said(r.path))
	rec.LearnFrom(func() []recording.Annotation { return r.told.annotations }) // only if there is anything to learn
	return rec, nil
}

// learn reads what happened to the channels within the recording, if anything is told.
func (r *review) learn() error {
	r.mu.Lock()
	known := r.rec.Known()
	r.mu.Unlock()
	if known {
		return nil
	}
	_, _, err := r.annotations()
	return err
}

// linear is how counts of channel c are shown. Called with r.mu held.
func (r *review) linear(c int) channel.Linear {
	return r.rec.Channels[c].Linear(r.info.Channels[c])
}

// NewReviews looks at the recordings of a store.
func NewReviews(store *Store) *Reviews {
	rs := &Reviews{store: store}
	store.mu.Lock()
	store.letGo = rs.forget
	store.mu.Unlock()
	return rs
}

// once is work in the background that is done by one goroutine at a time. Safe for concurrent use.
type once struct {
	// Guarded by mu.
	mu     sync.Mutex
	under  bool
	closed bool
	end    context.CancelFunc
	work   sync.WaitGroup
}

// start begins the work unless some is under way.
func (o *once) start(do func(ctx context.Context)) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.under || o.closed {
		return
	}
	ctx, end := context.WithCancel(context.Background())
	o.under, o.end = true, end
	o.work.Go(func() {
		defer end()
		do(ctx)
		o.mu.Lock()
		o.under = false
		o.mu.Unlock()
	})
}

// close ends the work and waits for it.
func (o *once) close() {
	o.mu.Lock()
	o.closed = true
	if o.end != nil {
		o.end()
	}
	o.mu.Unlock()
	o.work.Wait()
}

// forget closes a recording that is open.
func (rs *Reviews) forget(id string) {
	rs.mu.Lock()
	i := slices.IndexFunc(rs.open, func(r *review) bool { return r.id == id })
	var r *review
	if i >= 0 {
		r = rs.open[i]
		rs.open = slices.Delete(rs.open, i, i+1)
	}
	rs.mu.Unlock()
	if r != nil {
		r.close()
	}
}

// Close closes what is open.
func (rs *Reviews) Close() {
	defer rs.leaving.Wait()
	rs.rating.close()
	rs.mu.Lock()
	list := rs.open
	rs.open = nil
	rs.mu.Unlock()
	for _, r := range list {
		r.close()
	}
}

func (r *review) close() {
	r.stop()
	<-r.ended
	r.work.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	r.file.Close()
}

// again is how long a recording that grows is looked at as it was, so that reading it
// anew takes a twentieth of the time at most.
func (r *review) again() time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.took == 0 {
		return time.Minute // it is still being read
	}
	return max(2*time.Second, readAnew*r.took)
}

// get opens a recording or finds it open.
func (rs *Reviews) get(id string) (*review, error) {
	path, err := rs.store.Path(id)
	if err != nil {
		return nil, err
	}
	stat, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	rs.mu.Lock()
	defer rs.mu.Unlock()
	for i, r := range rs.open {
		if r.id == id {
			if r.size == stat.Size() || time.Since(r.opened) < r.again() {
				copy(rs.open[1:i+1], rs.open[:i])
				rs.open[0] = r
				return r, nil
			}
			rs.open = append(rs.open[:i], rs.open[i+1:]...)
			rs.leaving.Go(r.close) // it has grown since
			break
		}
	}
	file, err := Open(path, recording.OpenOptions{})
	if err != nil {
		return nil, err
	}
	ctx, stop := context.WithCancel(context.Background())
	r := &review{id: id, path: path, size: stat.Size(), opened: time.Now(), info: file.Describe(), life: ctx, file: file, rec: channel.Open(file, Said(path)), stop: stop, ended: make(chan struct{})}
	known := r.rec.Known()
	if !known && float64(file.Len()) <= learnAtOnceSeconds*r.info.ClaimedRateHz {
		known = true
		if err := r.learn(); err != nil {
			file.Close()
			stop()
			return nil, err
		}
	}
	if p, err := overview.Load(rs.store.folder, id); err == nil && p.Samples == file.Len() {
		r.pyramid, r.share, r.took = p, 1, 1
		close(r.ended)
	} else {
		go rs.build(ctx, r, path)
	}
	if !known {
		r.work.Go(func() { // after the overview; whoever needs it reports what is wrong
			if <-r.ended; ctx.Err() == nil {
				_ = guard.Call("the kinds of "+r.id, r.learn)
			}
		})
	}
	rs.open = append([]*review{r}, rs.open...)
	if len(rs.open) > openReviews {
		last := rs.open[openReviews]
		rs.open = rs.open[:openReviews]
		rs.leaving.Go(last.close)
	}
	return r, nil
}

// build makes the pyramid from a reader of its own.
func (rs *Reviews) build(ctx context.Context, r *review, path string) {
	defer close(r.ended)
	select { // what is looked at first comes before
	case <-ctx.Done():
	case <-time.After(firstLook):
	}
	file, err := Open(path, recording.OpenOptions{})
	var p *overview.Pyramid
	if err == nil {
		err = guard.Call("the overview of "+r.id, func() (err error) {
			p, err = overview.Build(ctx, file, func(share float64) {
				r.mu.Lock()
				r.share = share
				r.mu.Unlock()
			})
			return err
		})
		file.Close()
	}
	r.mu.Lock()
	r.pyramid, r.err, r.took = p, err, time.Since(r.opened)
	r.mu.Unlock()
	if err == nil {
		_ = p.Save(rs.store.folder, r.id) // only a convenience: built anew when missing
	}
}

// AskError says that a recording has not what was asked for.
type AskError struct {
	text string
	// NoChannel says that it is the channel that there is not.
	NoChannel bool
}

// Error implements error.
func (e *AskError) Error() string { return e.text }
