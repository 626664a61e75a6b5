// Package invite lets a bench join a shop by a code that one person reads to
// another, or shows as a picture.
//
// A code is for one bench, for ten minutes, and dies of five wrong guesses. It
// says to whom to connect and proves the joiner to the host; everything that
// lasts (who belongs, who owns) is said by signed statements (package roster)
// and never by a code.
//
// # What a code holds
//
//	1   version (upper 4 bits, 1) and number of addresses (lower 4 bits)
//	16  pin: the start of the SHA-256 of the host's TLS public key (SPKI, DER)
//	10  secret: random
//	5   owner's tag: the start of a hash over shop and owner
//	    then up to two addresses, each
//	1     4, 6, or 1
//	4       IPv4 address   | 16 IPv6 address | 1 length, then a host name
//	2     port, big endian
//
// The pin makes a man in the middle useless: no certificate is trusted on first
// use. The tag makes a host of another shop, or of the same shop's name with
// another owner, useless (F26): see Code.Check. The secret has 80 bits and never
// travels; it is not short enough to be guessed by who has seen its public half.
//
// A Place is a shorter code, without a secret: it says to benches that belong
// already where an exchange is that they do not know.
//
// # How it is written
//
// The bytes behind a leading 1 are one number in base 31, in groups of four
// characters and a check:
//
//	2345 6789 ABCD EFGH JKMN PQRS TUVW XYZ     digits 0 to 30
//	d1 d2 d3 d4 c: d1 + 2 d2 + 3 d3 + 4 d4 + 5 c + group = 0 mod 31
//
// with 15 more in the last group. There is no 0, O, 1, I or L. Since 31 is a
// prime and the weights of neighbours differ, any one wrong character and any
// two neighbours swapped are found, and as each group is checked by itself and
// counts its own place, the group is known. Case, spaces and dashes mean
// nothing.
//
// # How a bench joins
//
// The host keeps, for each code, the public half of a login that the secret
// gives (Code.Login: HKDF-SHA256, RFC 5869, into an Ed25519 key), so its list
// holds nothing worth stealing and the exchange's own challenge proves that the
// joiner has the secret. The guest is shown the shop's founding and nothing
// else. It checks the founding against the code, sends a Request signed by the
// key its bench will have, and gets an Answer: the admission with what proves
// it and the shop keys wrapped for it. Invites.Use takes the code out of the
// world before the owner signs.
//
// # What this does not do
//
// Who sees the code within its ten minutes can use it before the one it was
// meant for, who then is told that it was used; the owner sees the name that
// joined and retires it. A wrong guess can't say which code it meant, so it
// counts against each that is open: anybody who can reach the host can burn
// codes, and wins nothing else. How often was guessed is remembered by the
// host's process and not on disk.
//
// Time is passed in. Nothing here waits, listens or draws randomness.
package invite
