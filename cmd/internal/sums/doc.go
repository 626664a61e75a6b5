// Package sums answers the sums that a bench does beside a set: what a date code
// says, what a marking is worth, how far a dial is off, how two levels stand to
// each other, what a leakage reading means, how long a capacitor holds its charge.
// It takes what hands type and gives an answer that a program can read and that
// tells itself in plain words. The arithmetic, with its sources, is package
// measure's; here it is put together.
//
// For each sum there is a struct of what was typed and a function that gives an
// answer: DateCodes, Values, Dial, Levels, Leakage, Discharge. An answer's fields
// are what --json prints; Told is the same for people, as tables, sentences and the
// kind of caution that has to stand beside it. The command line and the page show
// nothing that is not in one of the two.
//
// Where several things are asked at once and some can't be read, the others are
// answered and Told.Unread says which were not and why. Where nothing can be read
// that is an error.
//
// What a sum never does: it saves nothing, it settles no question by guessing, it
// gives no verdict on a set. A stated year stands over a proposed one, a station
// that a person knows over the nearest channel, and a limit is compared with only
// where somebody gave it.
package sums
