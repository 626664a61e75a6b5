// Command oldhand is the memory of a small shop that repairs home electronics:
// what every set had, what was done to it, and what that says about its kind.
package main

import (
	"os"

	"oldhand/cmd/internal/cli"
)

func main() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
