package evidence

import "time"

const (
	// MaxSize is the size of one piece: six minutes of uncompressed stereo sound
	// (44.1 kHz, 16 bits: 63.5 million bytes), an hour of it packed, and any photo.
	// What is larger is a film, and would fill a bench's disk and the line to the
	// others.
	MaxSize = 64 << 20

	// DefaultLeastFree is what a disk keeps free, in bytes: above where the log
	// stops, since an entry is worth more than a photo of it.
	DefaultLeastFree = 300 << 20

	// headSize is how much of a piece tells what it is: two frames of an MP3 file.
	headSize = 4 << 10

	// block is how much is read and written at a time.
	block = 64 << 10

	// stale is the age at which what is still being written is left over by a
	// crash: nobody copies 64 MiB for that long.
	stale = 24 * time.Hour
)
