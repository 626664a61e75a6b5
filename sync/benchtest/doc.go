// Package benchtest is a whole shop in one process, for tests: laptops with real
// logs on disks in memory, clocks of their own, exchanges and sticks, and what
// goes wrong with each, all drawn from one seed. Nothing in it runs by itself:
// Step does one thing, so a seed always gives the same story (P16).
//
// The model of an exchange does what the real one does as far as a bench can
// tell; package exchange holds the two beside each other.
package benchtest
