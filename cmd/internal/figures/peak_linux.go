package main

import (
	"errors"
	"os"
	"syscall"
)

// peakOf is the most memory that a process had resident, in MiB. Linux counts it
// from before the program began, so it is no less than what the process had that
// started it: this command with its peers linked and nothing open, some 60 MiB. What
// is shown above that is the program's own.
func peakOf(p *os.ProcessState) (float64, error) {
	use, ok := p.SysUsage().(*syscall.Rusage)
	if !ok {
		return 0, errors.New("the system says nothing of the memory of a process that ended")
	}
	return float64(use.Maxrss) / 1024, nil // getrusage(2): kilobytes
}
