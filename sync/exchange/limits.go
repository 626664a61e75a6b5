package exchange

import "time"

// Limits. Each is checked before memory is taken for what it limits.
const (
	// MaxPayload is the size of one segment. A small one keeps a slow line
	// moving and a receiver's memory bounded.
	MaxPayload = 512 << 10

	// maxMessage is what the stream takes: a payload with its headers and
	// ample room. maxWire is what the server reads at once, above it, so that
	// what is too large is refused with a reason and does not cut the line.
	maxMessage = 600 << 10
	maxWire    = 1 << 20

	// MaxKey is the size of one person's sealed key: four times what is sealed at
	// present. maxKeyMessage is what the keys' stream takes, with headers.
	MaxKey        = 4 << 10
	maxKeyMessage = 8 << 10

	// MaxChunk is the size of one sealed chunk of a photo or recording, and
	// maxChunkMessage what their stream takes, with headers. MaxAgain is how many
	// chunks are asked for again at once: those of one piece of 64 MiB.
	MaxChunk        = 256 << 10
	maxChunkMessage = 300 << 10
	MaxAgain        = 300

	// MaxJoin is the size of a guest's request and of its reply: a key, a name
	// and a signature, or a roster.
	MaxJoin = 64 << 10

	// MaxFeeds is how many feeds a listing reads: a hundred times what five
	// benches make in a year of opening their logs twice a day.
	MaxFeeds = 250_000

	// maxConnections is how many may be connected to a host: all laptops of
	// some shops many times over.
	maxConnections = 256

	// maxConsumers is how many readings of one shop may be under way.
	maxConsumers = 1024

	// maxMemory is what a host's server may keep in memory for streams. None
	// of ours is in memory, but zero would mean a share of the machine's.
	maxMemory = 16 << 20

	// ahead is how many bytes of messages a follower asks for before they are
	// used; it must be above one message.
	ahead         = 4 << 20
	aheadMessages = 256
)

// chunkTime is how many times as long as another answer a chunk of a photo may
// take: with 50 seconds it gets through at 7 kB a second.
const chunkTime = 10

const (
	// DefaultMaxStore is what a host's disk gives to exchanges unless told
	// otherwise: at 160 bytes an event some 50 million events.
	DefaultMaxStore = 8 << 30

	// MaxPieces is how many bytes of photos and recordings benches put into an
	// exchange: half of what a host has, so that events never want for room.
	MaxPieces = DefaultMaxStore / 2

	// DefaultLeastFree is where a host stops taking more, in bytes free on its
	// disk: above where a bench's own log stops, since an exchange can be
	// filled anew and a log can't.
	DefaultLeastFree = 400 << 20

	// deniedWithin is how long the words of what a server denied may take to be
	// handed on.
	deniedWithin = 2 * time.Second

	// DefaultTimeout is how long an answer of an exchange may take.
	DefaultTimeout = 5 * time.Second
)
