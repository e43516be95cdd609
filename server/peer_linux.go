package server

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"net"
	"os"
	"slices"
	"strconv"
	"strings"
)

// otherUser tells that another user of this computer holds the far end of a loopback
// connection, by the kernel's table of sockets. Where the table does not tell, nobody
// is turned away. The root user, who may read everything anyway, and the one who started
// the program with sudo are not others.
func otherUser(c net.Conn) bool {
	far, ok1 := c.RemoteAddr().(*net.TCPAddr)
	near, ok2 := c.LocalAddr().(*net.TCPAddr)
	if !ok1 || !ok2 || !far.IP.IsLoopback() {
		return false
	}
	uid, ok := socketOwner(far, near)
	return ok && !slices.Contains([]string{"0", strconv.Itoa(os.Getuid()), os.Getenv("SUDO_UID")}, uid)
}

// socketOwner looks for the socket that is bound to local and joined to remote.
func socketOwner(local, remote *net.TCPAddr) (uid string, ok bool) {
	for _, table := range []string{"/proc/net/tcp", "/proc/net/tcp6"} {
		f, err := os.Open(table)
		if err != nil {
			continue
		}
		wide := strings.HasSuffix(table, "6")
		want := [2]string{socketName(local, wide), socketName(remote, wide)}
		s := bufio.NewScanner(f)
		for s.Scan() {
			if w := strings.Fields(s.Text()); len(w) > 7 && w[1] == want[0] && w[2] == want[1] {
				uid, ok = w[7], true
				break
			}
		}
		f.Close()
		if ok {
			break
		}
	}
	return uid, ok
}

// socketName is an address as the kernel's table has it: each four bytes as one number
// of the processor's order, all of Linux's here little-endian.
func socketName(a *net.TCPAddr, wide bool) string {
	ip := a.IP.To4()
	if wide {
		ip = a.IP.To16()
	}
	if ip == nil {
		return ""
	}
	turned := slices.Clone(ip)
	for i := 0; i < len(turned); i += 4 {
		slices.Reverse(turned[i : i+4])
	}
	return strings.ToUpper(hex.EncodeToString(turned)) + fmt.Sprintf(":%04X", a.Port)
}
