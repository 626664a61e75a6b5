// Package keyring is how the keys of customers' names come from bench to bench:
// one key a piece, sealed for the shop's benches, beside the events and never
// among them. What is known of a customer stands sealed in events that nobody
// can take back; the key is what can go, and with it all that it opens (P15).
// So a key lies only where it can be taken away: in a bench's keyring, in a
// message that the next one of the same person replaces, in a bundle's own
// frames.
//
// # Bytes
//
//	magic    7    "oldhkey"
//	version  1    1
//	tag      16   of the shop (segment.TagOf)
//	person   16   whose key it is, an id that says nothing
//	epoch    4    of the shop's key that seals, big endian
//
// and behind that, as package seal draws it with the shop's id as context,
//
//	length   1    of the key: 32, or 0 where the person is to stay forgotten
//	key      ..
//	order    64   only where there is no key: an owner's signature over
//	              events.ForgetStatement
//
// The whole is always of 1024 bytes, the least size of sealed bytes. A newer
// version may need more, up to MaxSize. Kept ones lie in testdata/keyring at the
// root.
//
// The person stands in clear because it names the subject of an exchange that
// the piece lies under; the seal covers it, so no piece can be moved from one
// person to another.
//
// # What it promises
//
// Whoever carries the bytes learns how many customers there are and nothing of
// any of them; a bench that was retired before a piece was sealed can't open it.
// A piece opens whole or not at all, and only as the shop's and the person's it
// says (P10). What is taken of it (take.go):
//
//	a key      only if it opens what events record of the person: whoever has an
//	           old key of the shop could seal any bytes, and a key that opens
//	           nothing would stand in the way of the right one
//	an order   only if an owner signed it
//
// Merge says what is kept where two entries meet: an order before any key, in
// whatever order they come, so a bench that has heard it never has the key again.
//
// # What it does not do
//
// It makes no order to forget; it only heeds one, whether it came in place of a
// key or as an event. It does not wipe: bytes that were replaced in a store go
// with eventlog's Scour, on an exchange when that is compacted, and an old
// bundle or a copy of a disk keeps what it has. A bench that is off keeps
// its key until it meets somebody who has the order.
package keyring
