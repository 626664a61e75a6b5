//go:build !linux

package eventlog_test

import "errors"

func mountTmpfs(string, string) error { return errors.New("only known how on Linux") }
func unmount(string) error            { return nil }
