// Package backup packs the files of a folder into one file and unpacks them. It
// knows nothing of shops: what belongs into a backup, and whether what comes out
// of it is sound, is for package app to say.
//
// # The file
//
// A tape archive (POSIX.1-2001 pax) in a Zstandard frame with its checksum
// (RFC 8878), and around that, where it is sealed, an age file for a passphrase
// (C2SP age). Each is a format of its own with programs of its own, so that a
// backup can be unpacked where this program can't be had:
//
//	zstd -d < FILE | tar x
//
// The first entry, backup.json, is the card: whose it is, when it was made and how
// far it goes. Then come the files, and last SHA256SUMS, a line for each as
// coreutils' sha256sum writes it. A file without it at its end was cut off.
//
// # What is promised
//
// Unpack makes the folder whole or not at all: it fills a folder beside, checks
// every sum, syncs, and gives it its name last. It writes nothing outside of that
// folder whatever the archive says, and nothing but plain files for their owner
// only. A flipped bit or a cut anywhere is an error (P13).
package backup
