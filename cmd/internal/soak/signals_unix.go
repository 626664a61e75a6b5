//go:build unix

package main

import "syscall"

// freeze stops a process where it is, as a lid that is closed does.
func freeze(pid int) error { return syscall.Kill(pid, syscall.SIGSTOP) }

// thaw has it go on.
func thaw(pid int) error { return syscall.Kill(pid, syscall.SIGCONT) }

// sayWhere has a process that hangs say where, and end.
const sayWhere = syscall.SIGQUIT
