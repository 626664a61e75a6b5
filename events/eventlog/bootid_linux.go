package eventlog

import (
	"os"
	"strings"
)

// BootID names the time since the machine was started, or is empty where the
// system does not tell: then every opening counts as a start of its own.
func BootID() string {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
