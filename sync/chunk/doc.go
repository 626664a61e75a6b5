// Package chunk is how a photo or recording comes from bench to bench: cut into
// chunks, each sealed for the shop's benches, beside the events and after them.
//
// # Bytes
//
//	magic    7    "oldhpic"
//	version  1    1
//	tag      16   of the shop (segment.TagOf)
//	name     16   of the piece (NameOf)
//	number   4    of the chunk, from 0, big endian
//	epoch    4    of the shop's key that seals, big endian
//
// and behind that, as package seal draws it with the shop's id as context, the
// piece's bytes from number*Size on: Size of them, or what is left. A whole chunk
// sealed has 256 KiB. Kept ones lie in testdata/chunks at the root.
//
// # Names
//
// What a piece is known by in clear is made of its hash and the shop's id. Whoever
// carries it sees which chunks belong together and about how long each is, and can
// not tell from a file in his hands whether the shop has the same one. Benches
// that never met make the same name of the same bytes, so a piece lies in one place
// once, whoever brought it.
//
// # What it promises
//
// A chunk opens whole or not at all, and only as the shop's, the piece's and the
// place's it says (P10): the clear bytes are sealed with it. That opening proves
// only that somebody with the shop's key sealed it; whether the piece is the one
// that an entry names is told by its hash, once all of it is here.
//
// # What it does not do
//
// It keeps nothing and asks for nothing, and does not know whether a chunk is the
// last.
package chunk
