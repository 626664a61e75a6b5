// Package bundle is segments in a file: what goes on a stick or in a mail when
// two benches have no exchange in common. The segments are the same ones, so a
// stick is not a second protocol; a bundle adds only what a file needs, to know
// that it is whole and to go on where it is not.
//
// # Bytes
//
// All numbers are big endian; sums are CRC-32C (Castagnoli).
//
//	magic    7    "oldhbun"
//	version  1    1, or 2 where there may be keys
//	tag      16   of the shop (segment.TagOf)
//	sum      4    of the 24 bytes before
//	frames   ..   parts of the list of heads, then segments, then keys, then the end
//
// A frame:
//
//	kind     1    'H' a part of the list of heads, 'S' a segment, 'K' the key of a
//	              customer (package keyring; version 2 only), 'E' the end
//	number   4    of the frame, from 0
//	length   4    of the payload
//	sum      4    of the nine bytes before
//	payload  ..
//	sum      4    of the payload
//
// The end's payload:
//
//	segments 8    how many segment frames there are
//	hash     32   SHA-256 of all bytes of the file before the end's frame
//
// Keys make it version 2, since a program that knows only the first version takes
// a frame of a kind it does not know for damage: it would have all segments and
// tell a person that the stick is broken. So it refuses the whole as made by a
// newer version, and what is to be read by it is written without keys. Keys stand
// behind all segments, so that a reader has what they open, and the shop's key
// that opens them, when they come.
//
// The frame has a sum of its own head so that a reader knows whether it can
// step over a payload that is damaged: where the length holds it does, where it
// does not nothing behind it is believed. Sums find accidents. Against
// people there are the seals and signatures of the segments, which whoever takes
// them checks (segment.Open); a reader of bundles has no opinion on what is in
// one.
//
// The list of heads says how far the writer had each feed, with the bench's
// signature where the writer had it. It serves to make the next bundle shorter
// ("what is new since this one"), and signed heads are witnesses: two that
// disagree prove a fork. It comes before the segments, so that it can be read
// alone and from a file that was cut. Each part is sealed as package seal draws
// it, with the shop's id as context, behind
//
//	magic    7    "oldhhds"
//	version  1    1
//	tag      16   of the shop
//	epoch    4    of the key
//	part     4    number of this part, from 0
//	parts    4    how many there are, at least 1
//
// and holds, unpacked:
//
//	count    4
//	heads    ..   bench (32) run (16) number (8) hash (32) signed (1: 0 or 1)
//	              and, where it is 1, the signature (64)
//
// sorted by bench and run, no feed twice, over all parts: of a feed with branches
// one of them.
//
// # Photos and recordings
//
// They are in a file of their own beside a bundle (photos.go), which programs that do
// not know it leave alone: another frame in a bundle would be damage to them. It is
//
//	magic    7    "oldhpho"
//	version  1    1
//	tag      16   of the shop
//	sum      4    of the 24 bytes before
//	frames   ..   as above, of the kinds 'C', a sealed chunk (package chunk), and 'E'
//
// with the number of chunks in the end's payload in place of that of segments. The
// chunks of a piece stand together and in their order. Which pieces they are of is known
// only to who knows the entries that name them. It has less than 4 GiB, which is what
// the file systems of most sticks hold in a file. What is said of cuts and damage below
// holds for it too; a piece that it breaks off in goes on with a fresh copy (package meet).
//
// Version, order and lengths are part of the format for ever; kept bundles lie
// in testdata/bundles at the root.
//
// # What it promises
//
// Read gives every whole segment, and ReadWithKeys every whole key, that stands before damage or a cut, byte for
// byte as it was added, and nothing of a damaged one (P10, F18). It says whether
// the file was whole, how many frames were damaged, and where and why it stopped
// (P9). It never holds more than one segment and the list of heads, whatever a
// length claims (P14). Another shop's bundle is refused before anything is given
// (F26). WriteFile leaves the new file whole or the old one as it was, also when
// the stick is pulled (F8).
//
// # What it does not do
//
// It does not choose which segments go in, and it does not know the roster.
// That a bundle is whole says nothing of what its writer left out: compare
// heads for that.
package bundle
