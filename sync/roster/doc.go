// Package roster says who belongs to a shop, which of their events count, and
// which secret the shop's benches share.
//
// The answer is a function of a set of events and of nothing else (P12): not
// of the order they came in, not of any clock, not of what this bench knew
// before. Two benches that hold the same events never disagree on who counts.
//
// # What is read
//
// Six kinds of events (package events) are about the roster. Each carries a
// statement with a signature of its own:
//
//	shop.founded    the founder's key; the shop's id is a hash of it
//	owner.named     a further owner's key, printed and kept in a drawer
//	bench.admitted  a bench's key, its name, its number
//	bench.retired   a bench, and the heads up to which it counts
//	feed.released   a retired bench, and heads up to which it counts after all
//	key.set         an epoch, a key, and who can open it
//
// The signature is what counts, and not the event around it. Whichever bench
// wrote the event, on whichever feed, before or after whatever else, also on
// the feed of a retired bench: the statement is as good as its signature, and
// the same statement in a second event says nothing more. An event's id and
// place are shown to a person who asks where a statement came from; they weigh
// nothing, so a back-dated event changes nothing. All other kinds pass by.
//
// What is not signed by an owner of this shop, is of another shop, breaks a
// rule of its kind or can't be read is listed with the reason and otherwise as
// if it were not there.
//
// # The rules
//
// Owners. The founder is an owner. Whoever an owner names is an owner, whose
// word is the founder's in everything, naming further owners included. Nobody
// stops being an owner: a statement that took a key back could itself be
// signed by a thief.
//
// Admitted. A bench counts if an owner admitted it. When, does not matter: what
// a bench wrote offline before its admission came through counts from its first
// event, and an admission that arrives late changes the answer for all of the
// bench's events at once. Where two admissions of one bench differ, the lowest
// number stands and then the first name in the order of bytes.
//
// Retired. A retirement takes away everything but what its heads cover; a feed
// it does not name counts for nothing. It is for good: a key that was retired
// never comes back, also not by another admission, because in a set there is no
// "again". A laptop that returns gets another key. Two retirements of one bench
// count as the stricter of both, feed by feed: the lower number, and nothing
// where one of them leaves the feed out or where one number is named with two
// hashes. So a further retirement never lets more count than before.
//
// Released. Heads of a release are added to those that a retirement left. This,
// too, is for good, and the strictness above does not touch it. A feed with two
// branches that should both count (F12) is retired at one and released at the
// other; End does so. LetCount makes a release later, of what replicate holds
// of the bench (Inbox.Uncounted).
//
// Up to a head. A head stands for a chain: its hash covers everything before
// it. What counts of a retired bench's feed is what lies on the chain of one of
// its counted heads. Counts judges one head by numbers and by the hash at the
// same number, which is all that can be said without the feed: an event with
// the number of a counted head and another hash is of another branch (F12,
// F25), and so is what follows it. Who holds the feed looks one step further:
// where the counted head's own event is there, what is not on its chain does not
// count, whatever its number.
//
// Keys. The key of the highest epoch seals. Sets with the same epoch and key are
// one key with the readers of all. Where owners who did not meet set different
// keys for one epoch, both open; the one that no retired bench can open seals,
// and among equals the one whose name comes first. That a set's event came
// first, or claims to, is no reason: ids can be chosen.
//
// # Keeping it up to date
//
// Fold answers for a whole set. Book takes events as they come, in any
// grouping, with repeats, and gives after each step what Fold gives for all of
// them together. Events of other kinds cost it one comparison each. A signature
// is checked once against each owner. Statements that no known owner signed are
// kept, because the event that names their owner may still come.
//
// # What this does not do
//
// What a retired laptop already holds it can still read, and whoever stole it
// too: retiring stops what it sends from counting and keeps the next key from
// it, nothing else. Who copied an owner's key is an owner. Cutting off is never
// by time, since a thief can set a clock; events that a bench wrote honestly
// after the last head the owner knew are therefore set aside with the others
// until the owner releases them. A body of a newer version of one of the six
// kinds is not understood, so an older program's roster lacks what it says,
// which the list of refusals shows.
//
// A bench can open what is sealed with a new key only after it has read the
// event that gives it the key. Whoever ships segments must ship that event under
// an epoch its readers have, or not sealed at all: statements hold no secrets
// but names.
//
// # Neighbours
//
// Below it is package events. Join codes are in roster/invite. It knows no log,
// no exchange and no projection.
package roster
