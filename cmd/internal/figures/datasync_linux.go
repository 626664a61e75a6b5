package main

import (
	"os"
	"syscall"
)

// datasync puts a file's data on the disk, as the log's own sync does.
func datasync(f *os.File) error { return syscall.Fdatasync(int(f.Fd())) }
