// Package oddshop is a shop for tests of which one bench runs a program that keeps no
// rule. What that bench wrote is signed, links and reads, and so it was taken in like
// anybody's: of every kind in the table of kinds, with texts and numbers that no form
// and no command lets through, and a few bodies of each kind that don't even read.
//
// Everything is drawn from a seed, by the fields of the kinds' structs: a kind that is
// added to the table is among it without a change here. The events come in through the
// door that all come in by, as a bundle from an admitted bench.
//
// What shows such a shop must show it as it would any other: whole, and without a sign
// that a terminal, a browser or a spreadsheet obeys (P10, F18).
package oddshop
