package sharedtest

import (
	"bytes"
	"net"
	"testing"
	"time"
)

// Multicast gives an interface on which a packet to the group of multicast DNS
// comes back to this machine, one that leads to others if there is one. That is
// tried with the standard library alone, so that a fault of ours can't look
// like one of the network.
//
// Some containers and firewalls let no multicast through at all. The test skips
// there, also where nothing may be skipped: there is nothing to install that
// would mend it.
func Multicast(t testing.TB, loopbackToo bool) net.Interface {
	t.Helper()
	all, err := net.Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, loopback := range []bool{false, true} {
		for _, i := range all {
			if i.Flags&net.FlagUp != 0 && loopback == (i.Flags&net.FlagLoopback != 0) && (loopbackToo || !loopback) && echoes(i) {
				return i
			}
		}
	}
	t.Skip("no packet to a group comes back on any interface: this machine, or the container around it, has no multicast")
	return net.Interface{}
}

// echoes reports whether a group's packet that leaves by an interface arrives.
func echoes(i net.Interface) bool {
	group := &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353}
	in, err := net.ListenMulticastUDP("udp4", &i, group)
	if err != nil {
		return false
	}
	defer in.Close()
	out, err := net.DialUDP("udp4", &net.UDPAddr{IP: addressOf(i)}, group)
	if err != nil {
		return false
	}
	defer out.Close()
	// An answer to nothing, so that whoever else listens passes it by (RFC 6762, section 18.2).
	probe := append([]byte{0x6f, 0x68, 0x84, 0}, make([]byte, 8)...)
	if _, err := out.Write(probe); err != nil {
		return false
	}
	_ = in.SetReadDeadline(time.Now().Add(2 * time.Second)) // else the test's own time is the limit
	for b := make([]byte, 9000); ; {
		n, err := in.Read(b)
		if err != nil {
			return false
		}
		if bytes.Equal(b[:n], probe) {
			return true
		}
	}
}

// addressOf is an interface's first IPv4 address, or nil.
func addressOf(i net.Interface) net.IP {
	addrs, err := i.Addrs()
	if err != nil {
		return nil
	}
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil {
			return n.IP
		}
	}
	return nil
}
