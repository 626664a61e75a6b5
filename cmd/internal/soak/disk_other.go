//go:build !linux

package main

import "errors"

// smallDisk is there on Linux only.
type smallDisk struct{ at string }

func newSmallDisk(string) (*smallDisk, error) {
	return nil, errors.New("a small disk is mounted on Linux only")
}

func (d *smallDisk) fill(int64) (func() error, error) { return nil, errors.ErrUnsupported }
func (d *smallDisk) drop() error                      { return nil }
