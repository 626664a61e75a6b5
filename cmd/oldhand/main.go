// Command oldhand is the memory of a small shop that repairs home electronics:
// what every set had, what was done to it, and what that says about its kind.
package main

import (
	"os"
	"runtime/debug"

	"oldhand/cmd/internal/cli"
)

// mostMemory is how much memory the program has before it is freed more often, in
// bytes: a laptop has other work. GOMEMLIMIT in the environment says another.
const mostMemory = 240 << 20

func main() {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(mostMemory)
	}
	os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
