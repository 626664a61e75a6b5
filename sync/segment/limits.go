package segment

import "oldhand/sync/seal"

// Limits. Each is checked before memory is taken for what it limits.
const (
	// MaxSealed is the size of a segment: an exchange takes messages a little
	// larger, and a bench on a slow line is not held up for long by one.
	MaxSealed = seal.MaxSealed

	// MaxEvents is how many events a segment has. It is far above events.MaxRun,
	// for feeds that can only be cut at the few signed heads there are.
	MaxEvents = 4096

	// MaxRecords is the length of a segment's records, each with the four bytes
	// of its length. Even what does not pack fits a segment then, so nobody has
	// to seal a run to know that it can be.
	MaxRecords = seal.MaxPlain - fixedSize
)
