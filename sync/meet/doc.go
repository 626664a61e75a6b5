// Package meet lets a bench meet others: over an exchange for as long as it is
// asked to, or by a file. It is the goroutine around package replicate, which
// decides everything: here is only who is told what, and when.
//
// One goroutine holds the bench. Another follows the exchange and hands over one
// message after the other, so that a slow disk slows the reading and nothing
// piles up (P14). A commit of the log wakes the bench at once; what it has to
// give goes out before it waits again.
//
// A cut is not an end. Everything that was on its way is unclear then; when the
// exchange answers again the bench meets it anew and compares (F15, F16). An
// error of this bench's own, such as a full disk, ends the meeting with that
// error and nothing half taken; a later one goes on where it was (P13).
package meet
