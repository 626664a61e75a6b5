// Package sync is the room's sign: how benches meet will live in the packages
// below it. It declares nothing, so that any file here can import the standard
// library's sync under its own name.
package sync
