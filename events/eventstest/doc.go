// Package eventstest makes what tests of the log and of all that stands on it
// begin with: a shop, its benches with keys, a clock that a test moves, a
// source of randomness that gives the same bytes for the same seed, a log on a
// disk in memory that can be crashed or in a folder, the facts of a small visit,
// and the checks of bytes that are kept for ever.
//
// Equal seeds give equal shops, keys, ids and hashes, so that a failing run
// can be run again. Nothing here is for a program that keeps real events.
package eventstest
