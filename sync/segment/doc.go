// Package segment is the unit that benches exchange: consecutive events of one
// feed, ending exactly at a head that the feed's bench signed. All that leaves a
// bench, to an exchange or on a stick, is segments, so there is one way to check
// what comes in.
//
// # Bytes
//
//	magic    7    "oldhseg"
//	version  1    1
//	tag      16   of the shop (TagOf)
//	bench    32   \ the feed
//	run      16   /
//	first    8    number of the first event, big endian, as all numbers here
//	last     8    number of the last
//	epoch    4    of the shop's key that seals the rest
//	sealed   ..   as package seal draws it, with the shop's id as context
//
// What stands before the seal is the Place: it is in clear, since whoever
// routes segments needs it, and it is authenticated by the seal. Inside stand,
// unpacked:
//
//	prev       32   hash of the event before first; zeros before event 1
//	hash       32   of the last event
//	signature  64   of the bench, for the head (feed, last, hash)
//	records    ..   last-first+1 times: length (4), the record as it was received
//
// Version, lengths and order are part of the format for ever. Kept segments lie
// in testdata/segments at the root and open for ever. Another version may look
// different behind its eighth byte, so an older program says ErrNewer and does
// not guess.
//
// # What it promises
//
// Open gives nothing unless all holds, in this order: the size; magic and
// version; the shop; that the place can be; that the key of the epoch is known;
// the seal; the unpacked length; number and lengths of the records; the
// chain from prev over every record to the signed hash; the signature (P10,
// F18, F24 to F26). That costs one check of a signature a segment, since the
// chain covers the rest. Records are taken as they are, whatever their kind
// (P11), and shared with nobody: the caller may keep them.
//
// Link puts what was opened behind a head that the bench has. What overlaps is
// dropped after its hashes led to that head; a gap, a fork and a segment that
// lies wholly in the past are errors of their own (P3, P6, F12, F17).
//
// # Cutting a feed into segments
//
// The log does it, which knows the signed heads (eventlog.View.Run): about 500
// events and at most events.MaxRunBytes of records, where there is a choice. Of
// its own feeds a bench signs any head; of others only their signed heads are
// places to cut at.
//
// A cut may fall inside an action. Whoever shows events from a segment shows,
// until the next one is there, a part of that action.
//
// # What it does not do
//
// Whether the bench is admitted and how far it counts is for the roster, which
// is not known here; neither are disks and exchanges. The seal says that
// somebody in the shop made the bytes, the signature whose events they are. A
// tail that is held back is not seen here: it shows when a head for it arrives.
// In clear stay who wrote, how many events, and how often: padding hides the
// lengths of texts, not that.
package segment
