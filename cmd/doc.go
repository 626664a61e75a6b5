// Package cmd is the top room's sign: the program in oldhand, and below
// internal what it is made of. It declares nothing.
package cmd
