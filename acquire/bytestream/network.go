package bytestream

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/acquire/serialport"
)

const (
	// dialPatience is how long a board may take to answer a connection.
	dialPatience = 5 * time.Second
	// boardPatience is how long an opening waits for a board to come.
	boardPatience = 10 * time.Second
	// seat is how much silence frees the place of the one board that is heard.
	seat = 3 * time.Second
	// maxDatagram, in bytes, leaves room in a read of 4096 bytes for an end of line and
	// for one byte that shows that a datagram is longer.
	maxDatagram = 4094
)

// keepAlive finds out within a quarter of a minute that a silent peer is gone.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 5 * time.Second, Interval: 3 * time.Second, Count: 3}

// place is where to connect or listen, from an address's path and options.
type place struct {
	host string
	port int
	from netip.Prefix // who may send; not valid: anybody
}

func (p place) String() string { return net.JoinHostPort(p.host, strconv.Itoa(p.port)) }

// admits tells whether a sender at an address may be heard.
func (p place) admits(a netip.Addr) bool {
	return !p.from.IsValid() || p.from.Contains(a.Unmap())
}

// listenPlace reads PORT or HOST:PORT of this computer, and from.
func listenPlace(a acquire.Address) (p place, err error) {
	bad := func(part, rule string) (place, error) {
		return place{}, &acquire.AddressError{Address: a.String(), Part: part, Rule: rule}
	}
	text := a.Path
	if strings.Trim(text, "0123456789") == "" {
		text = "127.0.0.1:" + text
	}
	host, port, err := net.SplitHostPort(text)
	if err != nil {
		return bad(fmt.Sprintf("place %q", a.Path), "give a port, as in "+a.Scheme+":3333, or an address of this computer and a port, as in "+a.Scheme+":192.168.1.5:3333")
	}
	if host == "localhost" {
		host = "127.0.0.1"
	}
	if _, err := netip.ParseAddr(host); err != nil {
		return bad(fmt.Sprintf("host %q", host), "give an address of this computer as numbers, 0.0.0.0 for all of them, or leave it out for this computer alone")
	}
	p.host = host
	if p.port, err = portNumber(port); err != nil {
		return bad(fmt.Sprintf("port %q", port), "give a number from 1 to 65535")
	}
	if a.Options.Has("from") {
		if p.from, err = parseFrom(a.Text("from", "")); err != nil {
			return bad("option from="+a.Text("from", ""), "give the board's address as numbers, as in 192.168.1.7, or a prefix such as 192.168.1.0/24")
		}
	}
	return p, nil
}

func portNumber(text string) (int, error) {
	n, err := strconv.ParseUint(text, 10, 16)
	if err != nil || n == 0 {
		return 0, errors.New("not a port")
	}
	return int(n), nil
}

// parseFrom reads an address or a prefix.
func parseFrom(text string) (netip.Prefix, error) {
	if a, err := netip.ParseAddr(text); err == nil && a.Zone() == "" {
		a = a.Unmap()
		return netip.PrefixFrom(a, a.BitLen()), nil
	}
	return netip.ParsePrefix(text)
}

// OpenTCP is the acquire.Opener of tcp:HOST:PORT: it connects to a board.
func OpenTCP(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	host, port, err := net.SplitHostPort(a.Path)
	if err == nil && host != "" {
		_, err = portNumber(port)
	}
	if err != nil || host == "" {
		return nil, &acquire.AddressError{Address: a.String(), Part: fmt.Sprintf("place %q", a.Path), Rule: "give the board's name or address and its port, as in tcp:192.168.1.7:3333"}
	}
	who := "bytestream: tcp:" + a.Path
	dialer := net.Dialer{Timeout: dialPatience, KeepAliveConfig: keepAlive}
	c, err := dialer.DialContext(ctx, "tcp", a.Path)
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, fmt.Errorf("%s: %w (%v); is the board on, in the same network, and listening on this port?", who, acquire.ErrUnplugged, err)
	}
	return serialport.OpenStream(ctx, a, serialport.Stream{Link: c, Who: who, Name: "board at " + a.Path,
		Silent: "is the board's program running, and does it print to this connection?",
		Again:  "it is called again until it answers", Waits: true})
}

// caller is how the one board that is heard and those who are not are told apart.
type caller struct {
	mu     sync.Mutex
	heard  time.Time // last byte of the board in the seat
	turned int64     // connections or datagrams of others
}

// bytes notes that the board in the seat sent some.
func (c *caller) bytes() {
	c.mu.Lock()
	c.heard = time.Now()
	c.mu.Unlock()
}

// quiet tells whether the seat is free for another.
func (c *caller) quiet() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Since(c.heard) >= seat
}

func (c *caller) turn() {
	c.mu.Lock()
	c.turned++
	c.mu.Unlock()
}

// listener waits for boards that connect; one is heard at a time.
type listener struct {
	net.Listener
	place place
	caller
	peers chan net.Conn // at most one that waits to be heard
	ended chan struct{} // the accepting goroutine has ended

	seatMu sync.Mutex
	seated net.Conn // nil: free
}

// OpenTCPListen is the acquire.Opener of tcp-listen:PORT: a board connects to this
// computer. It waits 10 s for one that sends lines; the error when none came wraps
// acquire.ErrUnplugged.
func OpenTCPListen(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	p, err := listenPlace(a)
	if err != nil {
		return nil, err
	}
	who := "bytestream: tcp-listen:" + p.String()
	l, err := net.Listen("tcp", p.String())
	if err != nil {
		return nil, listenError(who, err)
	}
	s := &listener{Listener: l, place: p, peers: make(chan net.Conn, 1), ended: make(chan struct{})}
	go s.accept()
	var last error
	patience := time.NewTimer(boardPatience)
	defer patience.Stop()
	for {
		select {
		case c := <-s.peers:
			source, err := serialport.OpenStream(ctx, a, serialport.Stream{Link: &seatedPeer{Conn: c, of: s}, Who: who, Name: fmt.Sprintf("board on TCP port %d", p.port),
				Silent: "does the board's program print to the connection it opened?", Again: "let the board connect again", Waits: true, Own: []string{"from"}})
			if err == nil {
				return &guarded{Source: source, caller: &s.caller, what: "connections", close: s.shut}, nil
			}
			last = err
			var bad *acquire.AddressError
			if ctx.Err() != nil || errors.As(err, &bad) {
				s.shut()
				return nil, err
			}
		case <-patience.C:
			s.shut()
			if last != nil {
				return nil, last
			}
			return nil, fmt.Errorf("%s: no board has connected in %g s: %w; let it connect to port %d of this computer%s", who, boardPatience.Seconds(), acquire.ErrUnplugged, p.port, aloneHint(p))
		case <-ctx.Done():
			s.shut()
			return nil, ctx.Err()
		}
	}
}

// aloneHint says so where only this computer can reach a place.
func aloneHint(p place) string {
	if a, err := netip.ParseAddr(p.host); err == nil && a.IsLoopback() {
		return fmt.Sprintf("; only programs of this computer reach %s: for a board in the network write an address of this computer before the port, or 0.0.0.0", p)
	}
	return ""
}

func listenError(who string, err error) error {
	return fmt.Errorf("%s: cannot listen: %w; choose another port, or an address that this computer has", who, err)
}

// accept lets one board in at a time and closes every other connection.
func (s *listener) accept() {
	defer close(s.ended)
	for {
		c, err := s.Accept()
		if err != nil {
			if errors.Is(err, net.ErrClosed) {
				return
			}
			time.Sleep(50 * time.Millisecond) // out of files: whoever knocked is gone by then
			continue
		}
		seated := false
		if guard.Call("taking in a connection", func() error { seated = s.sit(c); return nil }) != nil || !seated {
			s.turn()
			c.Close()
			time.Sleep(2 * time.Millisecond) // a flood of connections costs no more than this
		}
	}
}

// sit gives a connection the seat if it is free. One whose board has been silent is
// cut off, and the next to knock gets it.
func (s *listener) sit(c net.Conn) bool {
	from, err := netip.ParseAddrPort(c.RemoteAddr().String())
	if err != nil || !s.place.admits(from.Addr()) {
		return false
	}
	s.seatMu.Lock()
	defer s.seatMu.Unlock()
	if s.seated != nil {
		if s.quiet() {
			s.seated.Close()
		}
		return false
	}
	if t, ok := c.(*net.TCPConn); ok {
		_ = t.SetKeepAliveConfig(keepAlive) // without it a dead peer is found when another connects
	}
	s.seated = c
	s.bytes()
	s.peers <- c // has room: the seat was free
	return true
}

// stand frees the seat.
func (s *listener) stand(c net.Conn) {
	s.seatMu.Lock()
	defer s.seatMu.Unlock()
	if s.seated == c {
		s.seated = nil
	}
}

// shut ends listening and waits for the accepting goroutine.
func (s *listener) shut() {
	s.Listener.Close()
	<-s.ended
	select {
	case c := <-s.peers:
		c.Close()
	default:
	}
}

// seatedPeer is the connection of the board that is heard; closing it frees the seat.
type seatedPeer struct {
	net.Conn
	of *listener
}

func (p *seatedPeer) Read(b []byte) (int, error) {
	n, err := p.Conn.Read(b)
	if n > 0 {
		p.of.bytes()
	}
	return n, err
}

func (p *seatedPeer) Close() error {
	p.of.stand(p.Conn) // first: who sees this connection closed may connect at once
	return p.Conn.Close()
}

// datagrams is what a board sends by UDP, as one stream of bytes.
type datagrams struct {
	conn  *net.UDPConn
	place place
	end   byte // of a line or frame
	caller
	first  []byte // came while waiting for a board
	sender netip.AddrPort
	long   int64 // guarded by caller.mu
	buffer [maxDatagram + 2]byte
}

// OpenUDP is the acquire.Opener of udp:PORT: a board sends datagrams to this
// computer. It waits 10 s for the first; the error when none came wraps
// acquire.ErrUnplugged. What was lost on the way shows where the lines carry seq.
func OpenUDP(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	p, err := listenPlace(a)
	if err != nil {
		return nil, err
	}
	who := "bytestream: udp:" + p.String()
	host, _ := netip.ParseAddr(p.host)
	conn, err := net.ListenUDP("udp", net.UDPAddrFromAddrPort(netip.AddrPortFrom(host, uint16(p.port))))
	if err != nil {
		return nil, listenError(who, err)
	}
	d := &datagrams{conn: conn, place: p, end: '\n'}
	if a.Text("format", "lines") == "frames" {
		d.end = 0
	}
	if err := d.wait(ctx); err != nil {
		conn.Close()
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, fmt.Errorf("%s: no datagram has come in %g s: %w; let the board send to port %d of this computer%s", who, boardPatience.Seconds(), acquire.ErrUnplugged, p.port, aloneHint(p))
	}
	source, err := serialport.OpenStream(ctx, a, serialport.Stream{Link: d, Who: who, Name: fmt.Sprintf("board on UDP port %d", p.port),
		Silent: "does the board go on sending?", Again: "let the board send again", Own: []string{"from"}})
	if err != nil {
		return nil, err
	}
	return &guarded{Source: source, caller: &d.caller, what: "datagrams", more: d.tooLong}, nil
}

// wait waits for the first datagram of a board.
func (d *datagrams) wait(ctx context.Context) error {
	until := time.Now().Add(boardPatience)
	for {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if time.Now().After(until) {
			return errors.New("nothing came")
		}
		_ = d.conn.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
		n, err := d.receive()
		if err != nil {
			return err
		}
		if n > 0 {
			d.first = append([]byte(nil), d.buffer[:n]...)
			return d.conn.SetReadDeadline(time.Time{})
		}
	}
}

// receive takes one datagram into buffer, ended as a line or frame; 0 where it is
// nobody's to hear or none came in time.
func (d *datagrams) receive() (int, error) {
	n, from, err := d.conn.ReadFromUDPAddrPort(d.buffer[:])
	if errors.Is(err, net.ErrClosed) {
		return 0, err
	}
	if err != nil && n == 0 { // no datagram in time; or word that one of ours did not arrive, which none is
		var timeout net.Error
		if errors.As(err, &timeout) && timeout.Timeout() {
			return 0, nil
		}
		time.Sleep(10 * time.Millisecond)
		return 0, nil
	}
	if from != d.sender {
		if !d.place.admits(from.Addr()) || d.sender.IsValid() && !d.quiet() {
			d.turn()
			return 0, nil
		}
		d.sender = from
	}
	d.bytes()
	if n == 0 {
		return 0, nil
	}
	if n > maxDatagram {
		d.mu.Lock()
		d.long++
		d.mu.Unlock()
		return 0, nil
	}
	if last := d.buffer[n-1]; last != '\n' && last != '\r' && last != 0 {
		d.buffer[n] = d.end
		n++
	}
	return n, nil
}

// Read implements io.Reader for a reader with room for a datagram.
func (d *datagrams) Read(b []byte) (int, error) {
	if len(b) < len(d.buffer) {
		return 0, io.ErrShortBuffer
	}
	if d.first != nil {
		n := copy(b, d.first)
		d.first = nil
		return n, nil
	}
	n, err := d.receive()
	return copy(b, d.buffer[:n]), err
}

func (d *datagrams) Close() error { return d.conn.Close() }

func (d *datagrams) tooLong() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.long == 0 {
		return ""
	}
	return fmt.Sprintf("%d datagrams of more than %d bytes left out: send shorter ones", d.long, maxDatagram)
}

// guarded is a source beside which others knocked.
type guarded struct {
	acquire.Source
	*caller
	what  string
	more  func() string
	close func()
	once  sync.Once
}

// Health implements acquire.HealthReporter.
func (g *guarded) Health() acquire.Health {
	h := g.Source.(acquire.HealthReporter).Health()
	parts := []string{}
	if h.Detail != "" {
		parts = append(parts, h.Detail)
	}
	g.mu.Lock()
	if g.turned > 0 {
		parts = append(parts, fmt.Sprintf("%d %s of others turned away: one board is heard at a time", g.turned, g.what))
	}
	g.mu.Unlock()
	if g.more != nil {
		if text := g.more(); text != "" {
			parts = append(parts, text)
		}
	}
	h.Detail = strings.Join(parts, "; ")
	return h
}

// Close implements acquire.Source.
func (g *guarded) Close() error {
	err := g.Source.Close()
	g.once.Do(func() {
		if g.close != nil {
			g.close()
		}
	})
	return err
}
