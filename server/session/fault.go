package session

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
)

// faultEvery spaces what is logged and shown of faults that come with every block.
const faultEvery = time.Second

// faults are panics that were caught, and values that no message can hold.
type faults struct {
	last time.Time // that one was logged
	held int       // since then
}

// guarded does f on the session's goroutine; a panic in it is logged, shown and returned.
func (s *Session) guarded(what string, f func()) error {
	err := guard.Call(what, func() error { f(); return nil })
	if err != nil {
		s.fault(err)
	}
	return err
}

// fault logs and shows what went wrong inside the program, at most once in faultEvery.
func (s *Session) fault(err error) {
	now := s.now()
	if now.Sub(s.faults.last) < faultEvery {
		s.faults.held++
		return
	}
	stack := ""
	var f *guard.Fault
	if errors.As(err, &f) {
		stack = f.Stack
	}
	s.log.Error("a fault of the program", "err", err, "stack", stack, "more", s.faults.held)
	s.faults.last, s.faults.held = now, 0
	s.Problem("The program goes on after a fault: " + err.Error())
}

// step takes what comes next: a command, a source that came back, a block.
func (s *Session) step(done <-chan struct{}, read func() (acquire.Block, error), tick <-chan time.Time, reopen func()) {
	if s.source == nil {
		select {
		case f := <-s.commands:
			f()
		case o := <-s.reopened:
			s.takeReopened(o)
		case <-tick:
			reopen()
			s.everySecond(s.now())
		case <-done:
		}
		return
	}
	select {
	case f := <-s.commands:
		f()
		return
	case o := <-s.reopened:
		s.takeReopened(o) // too late: lets go of it
		return
	default:
	}
	var block acquire.Block
	err := guard.Call("reading the source", func() (err error) { block, err = read(); return err })
	if err != nil {
		select {
		case <-done: // Run ends
			return
		default:
		}
		if f := (*guard.Fault)(nil); errors.As(err, &f) {
			s.fault(err)
		}
		s.readFailed(err)
		return
	}
	if s.guarded("working a block of samples", func() { s.take(block) }) != nil {
		s.giveUp()
	}
}

// giveUp gives up the block that could not be worked: what of it the taps have not got is
// a gap before the next one, and the engines begin anew behind it.
func (s *Session) giveUp() {
	for i, w := range s.channels {
		w.out = channel.Output{}
		start := channel.Start{RateHz: s.designedHz * float64(s.decimation), ClockHz: s.usedHz, Ratio: s.decimation, Channels: make([]channel.Settings, len(s.channels)), HumHz: make([]float64, len(s.channels))}
		start.Channels[i], start.HumHz[i] = w.settings(), w.humHz
		e, err := channel.New(start.Config(i, w.engine.Described(), s.nextSource, channel.All))
		if err != nil { // it was possible before
			s.fail(err)
			return
		}
		w.engine = e
	}
	s.pendingGap = true
	_ = s.guarded("beginning anew after a fault", func() {
		s.tell(channel.Event{Restart: true})
		if s.doubt != "" {
			doubt := s.doubt
			s.event(channel.Event{Doubt: &doubt})
		}
	})
}

// errUnspeakable is of a value that JSON does not have.
var errUnspeakable = errors.New("a value that is no number")

// textMessage makes a message of v. An error tells of a number that is not finite, which
// no page could read: what it would have shown is left out.
func textMessage(v any) (hub.Message, error) {
	data, err := json.Marshal(v)
	if err != nil {
		return hub.Message{}, fmt.Errorf("session: a message is left out: %w: %w", errUnspeakable, err)
	}
	return hub.Message{Kind: hub.Text, Data: data}, nil
}

// message sends v to every page.
func (s *Session) message(v any) {
	m, err := textMessage(v)
	if err != nil {
		s.log.Error("a message is left out", "err", err)
		return
	}
	s.hub.Send(m)
}
