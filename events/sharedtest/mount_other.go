//go:build !linux

package sharedtest

import "errors"

// MountTmpfs is only known how on Linux.
func MountTmpfs(string, string) error { return errors.New("only known how on Linux") }
func unmount(string) error            { return nil }
