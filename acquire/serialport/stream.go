package serialport

import (
	"context"
	"fmt"
	"io"
	"maps"
	"math"

	"pulsewright/acquire"
)

// wire is what the messages of a source call the way its bytes take.
type wire struct {
	who     string // begins each message: "serialport: /dev/ttyACM0"
	same    string // of the sender, before what must be so: "is the board's baud rate the same, and "
	silent  string // what to look after when nothing comes
	again   string // what to do when it is gone
	baud    bool   // there is such a thing as a baud rate
	ends    bool   // its end is the source's end
	patient bool   // the sender can be made to wait
}

// cable is the wire of a serial port.
func cable(port string) wire {
	return wire{who: "serialport: " + port, baud: true, same: "is the board's baud rate the same, and ",
		silent: "is the board running its program, and are its ground and transmit wires connected?", again: "plug it in again"}
}

// at names the baud rate where there is one.
func (w wire) at(baud int) string {
	if !w.baud {
		return ""
	}
	return fmt.Sprintf(" at %d baud", baud)
}

// Link is an open serial port. Read blocks until bytes arrive, may return 0 and nil
// after a time-out of its own, and fails when the device is gone or Close was called.
type Link = link

// Dialer opens the serial port of a name at a baud rate. The error of a port that is
// not there wraps acquire.ErrUnplugged.
type Dialer = dialer

// OpenBy opens a serial port as Open does, the port itself by dial.
func OpenBy(ctx context.Context, a acquire.Address, dial Dialer) (acquire.Source, error) {
	return open(ctx, a, dial)
}

// Stream is a way by which a board's lines and frames come without a serial port.
type Stream struct {
	// Link gives the bytes; its Read may return 0 and nil and must end with Close. The
	// stream owns it.
	Link io.ReadCloser
	// Who begins each message: "bytestream: tcp:192.168.1.7:3333".
	Who string
	// Name is for a person.
	Name string
	// Silent and Again say what to look after when nothing comes, and when the sender is gone.
	Silent, Again string
	// Ends is true where the end of the stream is the end of the source (io.EOF); else its
	// end is acquire.ErrUnplugged.
	Ends bool
	// Waits is true where a sender can be made to wait: the link is not read while
	// much waits for Read. Else a backlog of 4 MB is an error.
	Waits bool
	// Own names options of the address that are the stream's own.
	Own []string
}

// OpenStream reads lines or frames from a stream as Open does from a port. The address
// takes Open's options but for baud. It closes the link when it fails.
func OpenStream(ctx context.Context, a acquire.Address, st Stream) (acquire.Source, error) {
	told := acquire.Address{Scheme: a.Scheme, Path: a.Path, Options: maps.Clone(a.Options)}
	for _, name := range st.Own {
		told.Options.Del(name)
	}
	o, err := parseOptions(told)
	if err == nil && a.Options.Has("baud") {
		err = &acquire.AddressError{Address: a.String(), Part: "option baud", Rule: "leave it out: only a serial port has one"}
	}
	if err != nil {
		st.Link.Close()
		return nil, err
	}
	o.port = st.Name
	o.wire = wire{who: st.Who, silent: st.Silent, again: st.Again, ends: st.Ends, patient: st.Waits}
	s := &source{opts: o, low: math.MaxInt32, high: math.MinInt32}
	return s.start(ctx, a, streamLink{st.Link}, 0)
}

// streamLink is a Stream's link; it has no baud rate.
type streamLink struct{ io.ReadCloser }

func (streamLink) SetBaud(int) error { return nil }
