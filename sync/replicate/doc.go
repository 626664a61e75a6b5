// Package replicate is how a bench comes to hold what others hold: what it does
// with a segment that reaches it, whichever way, and what it gives to an
// exchange, when. It runs no goroutine, reads no clock and does no I/O of its
// own; the log and the clock are handed to it. So a whole shop with its faults
// can be run from one seed, step by step (P16).
//
// # Two halves
//
// An Inbox takes segments in. A segment is opened and checked whole, its bench
// must count, and it must link behind what is here; only then its events go into
// the log, in one batch with what is remembered of where they came from (P10).
// What can't be taken is kept aside with the reason and does not stop others:
//
//	gap       events before it are missing; it waits for them
//	unknown   no owner admitted its bench, or the bench is retired behind what counts
//	no key    it is sealed with a key of the shop that is not here yet
//	newer     a newer program made it
//	fork      another event stands in a place that is taken here (P6)
//	bad       it is not what it claims to be
//
// All but the last two are tried again when something has come that may cure
// them. Nothing is lost by that: what does not fit into the space for it is read
// again from the exchange.
//
// A Core decides what is given to an exchange. It is a step function: an input
// and the time go in, effects come out. It knows the heads of the log here and,
// of each feed, the last message there, and where the log has more, that is
// posted behind it, whoever wrote it (P8): a bench's own feeds at once, those of
// others after a moment in which their own bench may do it. One message of a
// feed is on its way at a time, each names the message it follows, and whatever
// is not known to have been stored is asked for before anything is sent again
// (F16).
//
// # What is remembered
//
// Marks stand in the log's store, in the batch of the events they are about. A
// laptop put back to an older copy has the marks of that copy, so no mark claims
// more than is here (F10, F19, F20):
//
//	c epoch              -> message(8) hash(32) holes(8)  how far an exchange was read
//	t epoch feed(48)     -> message(8) seq(8) hash(32)    the last message of a feed there
//	h feed(48)           -> a signed head that goes further than what is here (P9)
//	q digest(16)         -> why, place, the segment       kept aside
//
// The letters k and p are package meet's.
//
// # What it does not do
//
// It does not take one bench's word for another's: a head counts by its
// signature alone. It never says that all is here because a cursor says so;
// Missing compares heads (P9). Of a feed that has two branches the one that came
// first stands in the log; the other is kept aside, whole, as proof.
package replicate
