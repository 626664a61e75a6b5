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
//
// # Keys of customers' names
//
// Keys is apart from that and comes after it: a bench's keyring (package keyring)
// is no history, has no order, and may lose what it has. A bench remembers how far
// it read the exchange's keys and of whom there is one (keymarks.go), takes what
// came since, some at a time, and puts what is not there. A key whose events, or
// whose key of the shop, is not here yet waits and is fetched again once they are.
// An order to forget a person is put in place of that person's key, and nothing in
// place of an order. An exchange that was made anew, put back, emptied or damaged
// is read from the first and filled again (P8, F19, F20, F21): one that lost keys
// says that it has something of fewer persons than were read of it. So is one of
// which only the message read last was replaced, which costs a reading and no more.
//
// # Photos and recordings
//
// Pieces is apart from both and comes last: it needs no log, only a list of what
// entries name, so it runs beside the bench's other work and holds up nothing. A
// bench brings every piece that the exchange lacks, and fetches what it lacks, the
// newest first, up to a size. What is known of the exchange is a note beside the
// pieces (piecesknown.go); one that was made anew, put back or lost something is
// seen by its end, and once a day all is asked anew (P8, F19, F20, F21). A chunk
// that does not open is asked for again, and whoever has the piece gives it as the
// next try (P10). A piece is kept only with the hash that an entry names.
package meet
