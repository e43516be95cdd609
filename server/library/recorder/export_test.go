package recorder

// Waits reports whether a recording waits for its last beats.
func (r *Recorder) Waits() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.late) > 0
}
