// Package relay lets a command run in the process that has a shop's folder open.
//
// A folder can be open in one process only. While the page is served, that is
// the page's; a command that finds the folder kept sends what was typed there,
// where the same code runs on the open folder, and prints what comes back. So
// nobody has to know whether the page is up, and there is one way to do each
// thing.
//
// # Where they meet
//
// At a socket of the file system, in a folder that only its owner can enter:
// whoever may open it may read the shop's folder too, so it needs no password.
// Its place stands in serving.json in the shop's folder. As a rule it lies
// beside that, in serving; where a path would be longer than a socket's may be,
// in a folder of its own for what is temporary.
//
// # What goes over it
//
// JSON values, one after the other, in both directions. First the command's
// words and the folder it was typed in, as a Call. Then, to the server, pieces
// of standard input as they are asked for, and that the person pressed Ctrl-C;
// to the command, pieces of what it prints and, last, its exit code. If the
// line breaks, the command that runs in the server is told to stop, as by
// Ctrl-C.
//
// It knows nothing of shops or commands: what is run is a function.
package relay
