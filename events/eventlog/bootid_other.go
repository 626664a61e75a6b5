//go:build !linux && !darwin

package eventlog

// BootID is empty: this system names no start of the machine, so every opening
// counts as one of its own and begins a feed.
func BootID() string { return "" }
