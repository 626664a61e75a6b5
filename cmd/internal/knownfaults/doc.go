// Command knownfaults decides what CI makes of published faults in the modules and
// the Go release that the program is built with.
//
// It reads what govulncheck writes as JSON from standard input, and the list of
// faults that are accepted for the while from the file named on the command line.
// A fault counts where a function of it can be reached from our code; one that
// stands in a package or module and is never called is told and passes. What counts
// and is not on the list fails.
//
// # The list
//
// One fault a line: its id in the Go vulnerability database, the version that mends
// it, and why it does not stop us until that version is here. A line without a
// reason is refused, and so is an id that stands twice. One that is not found any
// more is told, so that somebody takes it off; it fails nothing, since the next
// machine may have an older Go. A fault that is accepted while one version mends it
// and is then mended by another is no longer the fault that was weighed: it fails.
//
// It asks nobody anything. Where the database comes from is for CI to say.
package main
