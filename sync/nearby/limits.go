package nearby

import "time"

// Limits. Whatever is beyond them is dropped without a word: it came from
// anybody, and nobody waits for it.
const (
	// MaxAnswers is how many answers of one network are looked at: a shop has
	// a handful of benches, and its neighbours in the house have as many.
	MaxAnswers = 32

	// MaxFound is how many addresses a look gives. Each costs who gets it a
	// connection.
	MaxFound = 8

	// maxLinks is how many networks a machine is shown on and asks: the wire,
	// the air, and those that virtual machines make.
	maxLinks = 6

	// maxTexts and maxText are how many texts an answer has and how long one
	// is. Ours has three; a later version may have more. 255 bytes is what a
	// DNS text can have at all (RFC 1035, section 3.3).
	maxTexts = 16
	maxText  = 255
)

const (
	// lookFor is how long a look waits for answers. One arrives within
	// milliseconds on a wire; an access point may keep multicast back until
	// the next of its beacons that sleeping laptops wake for, some 300 ms.
	lookFor = 1500 * time.Millisecond

	// renewEvery is how often an advertisement looks for networks that came
	// or went.
	renewEvery = 15 * time.Second
)
