//go:build !linux

package figures

import "os"

// datasync puts a file on the disk.
func datasync(f *os.File) error { return f.Sync() }
