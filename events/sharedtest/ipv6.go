package sharedtest

import (
	"net"
	"testing"
)

// IPv6 gives the interface on which this machine answers itself by IPv6. The
// test skips where there is none, as in some containers: nothing that could be
// installed would mend it.
func IPv6(t testing.TB) net.Interface {
	t.Helper()
	l, err := net.Listen("tcp", "[::1]:0")
	if err != nil {
		t.Skip("this machine has no IPv6: " + err.Error())
	}
	_ = l.Close()
	all, err := net.Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range all {
		if i.Flags&net.FlagLoopback != 0 && i.Flags&net.FlagUp != 0 {
			return i
		}
	}
	t.Fatal("this machine answers at ::1 and has no loopback")
	return net.Interface{}
}
