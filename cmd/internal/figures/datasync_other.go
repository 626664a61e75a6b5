//go:build !linux

package main

import "os"

// datasync puts a file on the disk.
func datasync(f *os.File) error { return f.Sync() }
