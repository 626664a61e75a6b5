// Package events is what is true: the facts a repair shop records about the
// sets that cross its benches, their bytes, and their order.
//
// # The words
//
// A unit is a physical set. A visit is one stay of a unit in the shop, from
// received to shipped. A bench is one laptop with a key of its own. A feed is
// one run of one bench's log; an event has its place in exactly one. A head is
// how far a feed goes, with the hash of its last event; a signed head proves
// what stood there. A person is a customer. A tag is the number on the label
// that the shop ties to a unit. These words mean the same in the code, in the
// commands, on the pages and on paper.
//
// # What holds
//
// The numbers are those that tests are named after.
//
//	P1   What was said to be saved is in the log after any crash.
//	P2   What is not on disk is neither said to be saved nor shown.
//	P3   One action of a person is one batch: all its events or none.
//	P4   When benches have met, each has every event that existed anywhere.
//	P5   Equal sets of events give equal projections, to the byte.
//	P6   No two events share a place in a feed; if they do, both are kept and shown.
//	P7   A correction stands over what its writer saw; what it did not see stands beside it.
//	P8   An exchange can be lost; any one bench refills it.
//	P9   What is known to be missing is said.
//	P10  Nothing from outside is used before it is checked.
//	P11  What only a newer version can read is carried, hashed and forwarded.
//	P12  Who counts, and how far, follows from the events alone.
//	P13  With the disk full or only readable, reading goes on and writing says why it does not.
//	P14  No catching up, rebuilding or importing stops the counter.
//	P15  A person can be forgotten, and stays forgotten.
//	P16  A failing simulation is replayed from its seed.
//
// # Two times
//
// An event's At is when it happened at the bench, as precisely as anybody
// knew: statistics use it. The time inside its id is when it was recorded, by
// a clock that only rises (package hlc): it breaks ties, and it is never
// trusted to say what somebody had seen. What a correction replaces is named
// by ids.
//
// # Bytes
//
// The record of an event is drawn in codec.go, the hash in chain.go. Records
// are kept, hashed and forwarded as they were received, never encoded again.
// Examples of every kind lie in testdata/events and decode for ever.
//
// # Neighbours
//
// hlc and measure, tag and trade below it know nothing of events. eventlog
// keeps events on disk. Projections and sync stand above and are not known
// here.
package events
