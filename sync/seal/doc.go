// Package seal makes bytes that only a shop's benches can read, and reads them
// again: packed, padded, then sealed with the shop's key of an epoch. What
// leaves a bench goes through here, whatever the way it takes.
//
// # Bytes
//
//	clear    n     what its format says, for those who only carry it
//	nonce    24    random
//	sealed   m     XChaCha20-Poly1305 (draft-irtf-cfrg-xchacha-03) of the content, to the end
//
// The content, 16 bytes shorter than what is sealed:
//
//	plain    4     length of the plain bytes, big endian
//	packed   4     length of the packed bytes, big endian
//	bytes    ..    the plain bytes packed with zstd (RFC 8878)
//	zeros    ..    to the end: the whole is of a size class (classes.go)
//
// The additional data are the clear bytes and then the context, which both
// sides know without sending it: the shop. So nothing in clear can be changed,
// no sealed bytes be moved behind other clear ones, and none be opened as
// another shop's or another format's, since each format's clear bytes begin
// with a magic of its own and are of one length.
//
// Packing comes before sealing, because sealed bytes do not pack. The size then
// says a little of how much the texts inside repeat themselves; size classes
// blur it.
//
// # What it promises
//
// Lengths are checked before memory is taken for them, and unpacking takes no
// more than MaxPlain whatever the packed bytes claim (P10, P14). Opening gives
// all or nothing. It proves that somebody with the shop's key sealed the bytes,
// never who: whose events they are is for signed heads to say.
//
// # What it does not do
//
// It keeps no keys and knows no epochs. It does not hide that, when and about
// how much a bench sends.
package seal
