package backup

import "errors"

// Card says what a backup holds, in clear for who opens it.
type Card struct {
	Format int    `json:"format"` // 1
	Shop   string `json:"shop"`   // the shop's id
	Name   string `json:"name"`
	Bench  string `json:"bench"` // at which it was made
	Made   string `json:"made"`  // RFC 3339
	Events uint64 `json:"events"`
	Feeds  int    `json:"feeds"`
	Heads  string `json:"heads"` // SHA-256, hex, over how far every feed goes
	Files  int    `json:"files"`
	Bytes  int64  `json:"bytes"` // of the files, unpacked
}

// File is one that goes into a backup.
type File struct {
	Name string // in the archive, with slashes
	Path string // on the disk
	Size int64  // bytes; as many are packed, of a small file as many as it has then

	held []byte // of a small file, once it is read
}

const (
	format    = 1
	cardName  = "backup.json"
	sumsName  = "SHA256SUMS"
	mostCard  = 64 << 10 // bytes
	mostSums  = 64 << 20 // bytes: half a million files
	mostFiles = 1 << 19
)

var (
	// ErrSealed is returned when a backup is sealed and no passphrase was given.
	ErrSealed = errors.New("it is sealed with a passphrase")
	// ErrPassphrase is returned when the passphrase does not open it.
	ErrPassphrase = errors.New("this passphrase does not open it")
	// ErrBroken is returned when a backup was cut off or changed.
	ErrBroken = errors.New("it is not whole")
	// ErrOther is returned for a file that is no backup.
	ErrOther = errors.New("it is no backup of a shop")
	// ErrNewer is returned for a backup of a later format.
	ErrNewer = errors.New("a newer program made it")
)
