package eventlog

import "golang.org/x/sys/unix"

// BootID names the time since the machine was started, or is empty where the
// system does not tell: then every opening counts as a start of its own.
func BootID() string {
	s, err := unix.Sysctl("kern.bootsessionuuid")
	if err != nil {
		return ""
	}
	return s
}
