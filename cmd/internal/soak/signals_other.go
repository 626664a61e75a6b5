//go:build !unix

package main

import "os"

// freeze and thaw do nothing where processes can't be stopped.
func freeze(int) error { return nil }
func thaw(int) error   { return nil }

// sayWhere ends a process that hangs.
var sayWhere = os.Kill
