// Package bytestream reads boards whose bytes come without a serial port of this
// computer: over the network, from another program, or through a page.
//
//	tcp:HOST:PORT          connects to a board that listens
//	tcp-listen:PORT        a board connects to this computer
//	udp:PORT               a board sends datagrams to this computer
//	stdin:-  (or just -)   standard input
//	fifo:PATH              a named pipe
//	serial:browser/NAME    a serial port of the computer that shows the page
//
// The lines and frames in them, and the options for them, are those of package
// serialport, without baud but for a page's port.
//
// # What is reachable
//
// tcp-listen and udp listen on 127.0.0.1 alone. HOST:PORT names another address of
// this computer, 0.0.0.0 all of them. from=ADDRESS (or a prefix, 192.168.1.0/24) lets
// nobody else in. One board is heard at a time: while it sends, other connections are
// closed at once and other senders' datagrams left out; three seconds after its last
// byte another may take its place. Nothing is ever sent to a board. Anybody who can
// send to the port can pretend to be the board: there is no password in lines of
// numbers.
//
// # Bounds
//
// Of each source at most 64 KiB wait unread, then a TCP peer or a pipe has to wait; of UDP 4
// MiB, then the source fails. A datagram has at most 4094 bytes and holds whole lines or
// frames; one without an end of line gets it. A longer one is left out and counted.
//
// # Ends
//
// A connection that ends, and a pipe that its writer closed, are unplugged
// (acquire.ErrUnplugged): the reader opens them again. Standard input ends for good.
package bytestream
