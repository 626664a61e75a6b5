// Package evidence keeps the bytes of photos, recordings and papers of a unit,
// beside the log, each under the SHA-256 of what it is. The log says what a piece
// is and whose; the bytes are here or on another bench, and an entry whose bytes
// are elsewhere is as true as any other.
//
// # The folder
//
//	kept/HASH           the bytes as they came, 64 hex digits of their SHA-256
//	views/HASH.NAME     what was made of them to be shown; can be made anew
//	coming/NUMBER.new   being written by this bench; left over by a crash
//	coming/HASH.part    being fetched from another bench, from its first byte on
//	coming/lock         held by who fetches
//	damaged/HASH        what was under kept and is not any more what it was
//	notes/NAME          what helps to find pieces and can be made anew
//	dropped/HASH        empty: somebody wants the piece no more at this bench
//
// Files are for their owner only (0600).
//
// # What it promises
//
//	P1   Put returns once the bytes, and the name that leads to them, are on disk.
//	P2   What is under kept is whole: it is written beside, synced and then named.
//	P10  A piece that came from elsewhere is kept only if it has the hash that it
//	     was asked by, and Open reads the whole piece against it before it gives it.
//	P13  A full disk takes nothing and leaves nothing half kept, and says so.
//	P14  Whatever its size, a piece is read and written a little at a time.
//	F24  A piece is at most MaxSize.
//
// What a piece is told to be is read in its bytes (type.go), never in its name; a
// telephone's recording is told from its films by the tracks in it (sound.go).
// What is none of the sorts that a bench shows or plays is refused.
//
// # What it does not do
//
// It knows no units and no events: that a piece is named by one is not seen here.
// It looks into no picture; views are made by others and only kept here. Bytes
// that were dropped may lie on the disk until it uses the place again.
package evidence
