// Package replicate is how a bench comes to hold what others hold: what it does
// with a segment that reaches it, whichever way, and what it gives to an
// exchange, when. It runs no goroutine, reads no clock and does no I/O of its
// own; the log and the clock are handed to it. So a whole shop with its faults
// can be run from one seed, step by step (P16). Only who asks for it has segments
// opened ahead of their turn on goroutines (ahead.go).
//
// # Two halves
//
// An Inbox takes segments in. A segment is opened and checked whole, its bench
// must count, and it must link behind what is here; only then its events go into
// the log, in one batch with what is remembered of where they came from (P10).
// While more lies ready, what was taken may be held in memory with its marks, so that
// many segments share one batch (holding.go): none of it is durable or seen by others
// before that, and all of it is gone if the program ends.
//
// What can't be taken is kept aside with the reason and does not stop others:
//
//	gap       events before it are missing; it waits for them
//	unknown   no owner admitted its bench, or the bench is retired and it is not
//	          seen so far that this leads to what counts of it
//	no key    no key that is here opens it; of one epoch there can be several
//	newer     a newer program made it
//	fork      another event stands in a place that is taken here: so said programs
//	          that took one branch of a feed alone
//	bad       it is not what it claims to be
//
// All but the last are tried again when something has come that may cure
// them. Nothing is lost by that: what does not fit into the space for it is read
// again from the exchange. Bad ones go first where there is no room.
//
// What an owner says in a segment that is kept aside is heeded all the same:
// the word is as good as its signature, and what lets a segment be taken (an
// admission, a key) may stand in one that can't be. So the roster is a function
// of all that is held, in the log or aside (P12).
//
// Of a retired bench a number proves nothing, since whoever has its key can sign
// another branch that ends before the cut. Its events are taken once it is seen
// that they lead to the event that an owner named by its hash (F25). Where that stands
// beside an end that does not count, what leads to it is taken out of the segment
// that holds both.
//
// A feed that two wrote, since a machine's memory was put back or a key copied,
// has branches (P6, F12). Each is taken into the log, whichever came first: a
// segment goes on from the last of its events that is here, at the end of a
// branch or beside it. What leads to a segment and is not here is waited for on a
// branch as on any feed. A bench that meets another branch of the feed it writes
// leaves that feed.
//
// A Core decides what is given to an exchange. It is a step function: an input
// and the time go in, effects come out. It knows the heads of the log here and,
// of each feed, the last message there, and where the log has more, that is
// posted behind it, whoever wrote it (P8): a bench's own feeds at once, those of
// others after a moment in which their own bench may do it. One message of a
// feed is on its way at a time, each names the message it follows, and whatever
// is not known to have been stored is asked for before anything is sent again
// (F16). A spot, how far an exchange has a branch of a feed, moves only along
// events that are in the log here: what is kept aside gives nobody anything. All
// branches of a feed share its subject, and so the number of its last message;
// each is given behind the one that it leaves.
//
// What gives a key to benches is sealed with the key before it, and a run of a
// bench's own is cut around it, so that little else is.
//
// # What is remembered
//
// Marks stand in the log's store, in the batch of the events they are about. A
// laptop put back to an older copy has the marks of that copy, so no mark claims
// more than is here (F10, F19, F20):
//
//	c epoch              -> message(8) hash(32) holes(8)  how far an exchange was read
//	t epoch feed(48)     -> message(8) seq(8) hash(32)    the last message of a feed there, and how far that has it
//	b epoch feed(48) root(32) -> 0(8) seq(8) hash(32)     how far it has a branch that did not come first here
//	h feed(48)           -> a signed head of what is not here (P9)
//	i feed(48) hash(32)  -> another of the same feed
//	q digest(16)         -> why, message, words, the segment   kept aside
//	s epoch              -> hash(8) time(8)               which messages an exchange lacked, and when that was looked at
//	r                    -> 1                             something that had no room is to be read again
//
// The letters k and p are package meet's.
//
// # What it does not do
//
// It does not take one bench's word for another's: a head counts by its
// signature alone. It never says that all is here because a cursor says so;
// Missing compares heads (P9). What is aside is not given to an exchange by those
// who keep it aside: the end of a feed whose beginning no log has any more stays
// where it is. Of an owner's word that is so kept, Unsaid tells whoever runs the
// bench, who writes it into the log again. A branch of a bench that was taken
// before the bench was known to be retired stays in the log, and counts as far as
// it leads to what an owner counted. What is held of a retired bench and does not
// count, in the log and aside, Inbox.Uncounted lists for an owner (releasing.go);
// where that has two branches it says so and does not choose. Whoever has a
// bench's key can sign as many branches as he likes, as he can begin as many
// feeds, until the bench is retired.
//
// That an exchange lost messages is seen at once where their number says so, and
// otherwise when its numbers are next gone through (Surveyed).
package replicate
