package events

// Limits. Each is checked before memory is taken for what it limits.
const (
	// MaxRecord is the size of one event's bytes. A photograph or a pasted log
	// does not belong in an event: evidence is kept beside, named by its hash.
	MaxRecord = 64 << 10

	// MaxText is the length in bytes of one text in a body: some pages of
	// notes, far from MaxRecord, so that a body of several texts still fits.
	MaxText = 16 << 10

	// MaxWord is the length in bytes of a name, a model, a designator, an id of
	// a table: what stands in a column of a form.
	MaxWord = 200

	// MaxList is how many entries a list in a body has: a test sheet of 60
	// checks is long, a correction of 20 events unheard of.
	MaxList = 256

	// MaxRun and MaxRunBytes are how many events, and how many bytes of records,
	// lie at most between two signed heads that a bench keeps of a feed, if their
	// bench signed that often: what goes to other benches is cut at such heads.
	// Some hundreds share one signature and one compression well; the bytes stay
	// below what an exchange takes in one message even if they do not compress.
	MaxRun      = 500
	MaxRunBytes = 384 << 10

	// MaxWarrantyDays is about thirty years; more is a slip of the key.
	MaxWarrantyDays = 11_000
)

// The days an event can lie on: wider than any set's life, narrower than what
// arithmetic on days could overflow.
var (
	minDay = NewDay(1850, 1, 1)
	maxDay = NewDay(2500, 1, 1)
)

// The years a set can have been made in.
const (
	minYearMade = 1880
	maxYearMade = 2200
)
