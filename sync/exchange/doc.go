// Package exchange is where benches meet while they are connected: a place
// that holds segments of feeds until every bench has fetched them. One side is
// a Host, an exchange inside a bench's own process; the other is an Exchange,
// the connection of any bench to one. A cluster that somebody else runs can be
// an exchange as well.
//
// An exchange is a JetStream stream with one subject for each feed, and a
// message is one segment. To this package a segment is bytes: it was sealed
// before it came here and is checked after it left, so that who runs an
// exchange can read nothing and forge nothing. What he can do is lose it, keep
// it back, or put an old copy in its place. Everything below follows from that.
//
// # What it promises
//
// By the numbers of package events, and of the faults that tests name:
//
//	P8   Nothing here is ever a reason to forget anything. An acknowledgement
//	     says that the exchange has the message on its disk today.
//	P9   Nothing here says that a bench is up to date. Feeds and Last say what
//	     the exchange has; who is behind whom is told by comparing heads.
//	P14  A follower holds a few megabytes, whatever waits for it.
//	P15  A person's former key is not in the stream any more once another came.
//	F7   A host says that it is full while there still is room, and takes more
//	     again by itself.
//	F9   Two hosts on one folder: the second is refused.
//	F15  A connection that is cut comes back; what was under way ends at once.
//	F16  A message whose answer is lost is never sent again blindly.
//	F19  A re-created exchange is noticed and read from its first message.
//	F20  So is one that was put back to an older copy and written on.
//	F22  On a cluster what was acknowledged outlives the loss of any server.
//	F24  A payload is at most MaxPayload, a chunk MaxChunk, refused before it is sent.
//
// # Looking at a host
//
// Host.Inspect reads back from the running server what a loss would follow from, and
// tries with a login that has a bench's rights, and is no bench's, each thing that no
// bench may do. Of an exchange of somebody else's Loosened says in what it is not as
// it should be.
//
// # Publishing
//
// Publish says behind which message of its feed the next one belongs, by that
// message's place in the stream, and the exchange refuses it anywhere else. So
// two benches that carry the same feed can't both write its next message, and
// a message that was sent twice is stored once. One message of a feed is under
// way at a time; a second one is ErrBusy.
//
// There are several ways to fail. ErrOffline, ErrTooLarge, ErrFull, ErrNoStream:
// nothing was stored. ErrBehind: the feed ends elsewhere. ErrBusy: wait. ErrUnknown: the
// answer did not come, and the message may be stored or not; the feed takes
// nothing more until Last has read it. The caller compares the Hash of what is
// last there with what it sent, and not the number alone, which somebody else's
// message may have.
//
// The client library would send again by itself, keep what it could not send
// for later, and let a request wait for its time limit after the connection is
// cut. All three are turned off here; see link.go for the last.
//
// # Following
//
// A Cursor is an epoch, a sequence and a hash. The epoch is drawn at random
// when a stream is made and stands in its metadata: another epoch is another
// exchange. The sequence alone would be worth nothing. On a re-created stream a
// reader that waits behind sequence 800 waits for ever, without an error, while
// twenty new messages lie there; on one that was put back it goes on in the
// middle of messages it never saw. So each connection begins with fetching the
// message at the cursor, and if that is not the one that was read, all is read
// again from the first. That is cheap: the caller drops what it has, by feed
// and number.
//
// The library's own reader is not used, because it mends itself without that
// check. See reader.go.
//
// # Keys of customers
//
// Beside the stream of feeds lies one of sealed keys, with one subject a person
// (package keyring). It is made the opposite way: of a subject only the last
// message stays, so that a key can be replaced by the order to forget it, and
// whoever runs the exchange may empty it. A bench may put and read keys, and take
// none out but by a later one. PutKey names the message it takes the place of, as
// Publish names the one before it. What is replaced is gone from the stream; its
// bytes, sealed, may lie in the server's files until those are compacted.
//
// # Photos and recordings
//
// A third stream holds photos and recordings in sealed chunks (package chunk), one
// subject a chunk. They come after the events and never in their way, and what they
// need of an exchange is little: Chunks says what is there of a piece, PutChunk and
// Chunk give and take one, and a bench that could not use one asks with Again for
// the next try. Whoever runs the exchange may empty the stream; benches that have the
// pieces fill it again.
//
// # Names
//
// A shop is known on an exchange by its Tag, which tells shops apart and names
// none. These are part of the format:
//
//	stream    OLDHAND-<tag>
//	keys      OLDHAND-KEYS-<tag>
//	photos    OLDHAND-PIECES-<tag>
//	feeds     oldhand.<tag>.feed.<bench>-<run>
//	persons   oldhand.<tag>.person.<person>
//	chunks    oldhand.<tag>.piece.<piece>.<number>.<try>
//	again     oldhand.<tag>.again.<piece>
//	joining   oldhand.<tag>.join.<guest's key>
//	probe     oldhand.<tag>.probe
//	inbox     _IN.<key>.>
//
// The stream keeps feeds and probe. A probe is a few bytes that a host writes
// to find out whether its disk works again.
//
// # A host
//
// Its folder holds a lock, the server's store, and one file with a key and its
// certificate. The hash of that key is the Pin, which a join code carries: a
// connection is over TLS 1.3 to a key that is known beforehand, or it is not
// made. There is no trusting at first sight.
//
// A bench logs in with its own key, by signing what the server drew. The key
// signs nothing there that could be one of the statements it signs elsewhere
// (events.BenchKey.SignLogin). The server asks the Host about each login
// (admission.go) and has no list of its own. Each shop is an account of its own in the
// server, so that no subject of another shop can even be named; within it a
// bench may publish on feeds and read, and not delete, empty, change, copy out
// or put back anything. A guest, who holds a join code, may ask one question
// and read the answer in its own inbox. Logins that are refused the host hears
// of (refused.go): who guesses at join codes is seen by them.
//
// The settings that a loss would follow from are read back from the running
// server before it serves: that it syncs before it acknowledges, and how much
// it may keep. The server does not lock its folder and does not recover by
// itself from a disk that was full; the Host does both (guard.go).
//
// # A cluster of somebody else's
//
// There the streams are on three servers and a bench makes them, by Account: the
// settings of one shop's part, whose permissions are those of a host but for that.
// They are written there and not by hand, because they name keys and must not be
// wider than a bench needs; package cluster writes all else that servers are started
// with. A server is known by who signed its certificate (Foreign.Roots), since there
// are several and each may be replaced. A stream is made with one answer of the servers'
// own leader; a cluster that has none yet answers nothing, and Dial fails and can be
// tried again. Of a message whose leader was cut off no answer comes though the
// connection stands, and it is unknown until the time for an answer is over.
//
// A flat limit of disk counts each copy, so an account is given three times what the
// shop may keep. What the others hold a server hears within seconds: a shop that
// fills its disk in one burst can come beyond it, to three times as much at most, where
// one server's own copies are all that it may keep on three. Then nothing more is taken.
//
// # What it does not do
//
// It does not see that the exchange keeps something back: only a head that
// came another way shows that. It does not notice damage inside the stored
// stream, except as a hole in its numbers: a reader that comes by is warned, and
// a Survey finds it. It does not hide who comes, when, and how
// much is exchanged. A host that holds nothing yet takes one message on a full
// disk, since the server counts from there. A cluster's servers can lose what
// was acknowledged if all lose power at once; any bench fills it again.
//
// # Neighbours
//
// It knows ids and keys from package events. It does not know what a segment
// is made of, nor the log, nor when to publish what.
package exchange
