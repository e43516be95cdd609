package library

import (
	"encoding/json"
	"fmt"
	"path/filepath"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/library/files"
)

// saidName is the file of what was said of recordings' channels afterwards, by id.
const saidName = ".said.json"

// Said is what was said afterwards of the channels of the recording at a path, kept beside
// it.
func Said(path string) channel.Sidecar {
	return files.NewMap[channel.Sidecar](filepath.Dir(path), saidName).All()[filepath.Base(path)]
}

// ChannelChange is what somebody says of a channel of a recording.
type ChannelChange struct {
	Channel int `json:"channel"` // counted from 0
	// Forget takes back what was said before, so that what the recording tells holds.
	Forget bool `json:"forget"`
	channel.Said
}

// Say keeps what is said of a recording's channels, all of it or, with an error, nothing. The
// file itself stays as it is.
func (s *Store) Say(id string, changes []ChannelChange) error {
	s.moving.RLock()
	defer s.moving.RUnlock()
	path, err := s.Path(id)
	if err != nil {
		return err
	}
	file, err := s.open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	carried := channel.Open(file, channel.Sidecar{})
	err = s.said.Change(func(all map[string]channel.Sidecar) error {
		said, seen := all[id], map[int]bool{}
		for _, c := range changes {
			if seen[c.Channel] {
				return fmt.Errorf("channel %d: it is in the list twice; name each once", c.Channel)
			}
			seen[c.Channel] = true
			if c.Channel < 0 || c.Channel >= len(carried.Channels) {
				return fmt.Errorf("channel %d: the recording has %d, counted from 0", c.Channel, len(carried.Channels))
			}
			if err := c.Said.Check(); err != nil {
				return fmt.Errorf("channel %d (%s): %w", c.Channel+1, carried.Channels[c.Channel].Label, err)
			}
			before := said.Of(c.Channel)
			if c.Forget {
				before = channel.Said{}
			}
			said.Set(c.Channel, before.Change(c.Said))
		}
		if all[id] = said; said.Empty() {
			delete(all, id)
		}
		return nil
	})
	if err == nil {
		s.release(id) // what holds it open begins with what was said now
	}
	return err
}

// SayOf keeps what is said of channel n of a source that is a recording of the folder, also after it
// was renamed; of another source it keeps nothing.
func (s *Store) SayOf(address string, n int, said channel.Said) error {
	a, err := acquire.ParseAddress(address)
	if err != nil || a.Scheme != "file" || filepath.Dir(a.Path) != s.folder || said.Empty() {
		return nil
	}
	id := filepath.Base(a.Path)
	s.mu.Lock()
	for now, ok := s.moved[id]; ok; now, ok = s.moved[id] {
		id = now
	}
	s.mu.Unlock()
	return s.Say(id, []ChannelChange{{Channel: n, Said: said}})
}

// showSaid puts the names and kinds that channels were given into an entry.
func (e *Entry) showSaid(said channel.Sidecar) {
	names, kinds := append([]string{}, e.Channels...), append([]string{}, e.Kinds...)
	for n := range names {
		if label := said.Of(n).Label; label != nil {
			names[n] = *label
		}
		if kind := said.Of(n).Kind; kind != nil && n < len(kinds) {
			kinds[n] = *kind
		}
	}
	e.Channels, e.Kinds = names, kinds
}

// OpenChannels is what is known of the channels of an open file, which lies at a path, and the remark on it, with what
// was said of them.
func OpenChannels(f *recording.File, path string, said channel.Sidecar) *channel.Recording {
	rec := channel.Open(f, said)
	rec.Note = remark(path, rec.Note)
	return rec
}

// CarryAtEnd has a CSV file in units carry the settings of a recording's end, which hold for all of it there, and tells what
// was otherwise in the stretch of o.
func CarryAtEnd(rec *channel.Recording, o *recording.ExportOptions) {
	o.Settings = rec.CarriedValues()
	if o.Tell == nil {
		return
	}
	o.Changed = rec.Changed(o.From)
	to := o.To
	if to == 0 {
		to = rec.File.Len()
	}
	for _, text := range rec.Rescaled(o.From, to) {
		o.Tell(text)
	}
}

// CarriedWith is what a copy of a recording carries, so that what was said beside it goes along;
// nil when nothing was.
func CarriedWith(rec *channel.Recording, said channel.Sidecar) any {
	f := rec.File
	was := channel.ParseCarried(f.Settings())
	if said.Empty() && rec.Note == was.Note {
		return nil
	}
	members := map[string]json.RawMessage{} // what others keep there stays
	if json.Unmarshal(f.Settings(), &members) != nil || members == nil {
		members = map[string]json.RawMessage{}
	}
	all := channel.Sidecar{}
	for n := range f.Describe().Channels {
		one := said.Of(n)
		if was.Said != nil {
			one = one.Over(was.Said.Of(n))
		}
		all.Set(n, one)
	}
	members["said"], _ = json.Marshal(all) // of numbers that were checked, and texts
	if members["note"], _ = json.Marshal(rec.Note); rec.Note == "" {
		delete(members, "note")
	}
	return members
}
