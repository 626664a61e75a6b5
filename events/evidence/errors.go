package evidence

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
)

var (
	// ErrTooLarge is returned when a piece passes MaxSize.
	ErrTooLarge = fmt.Errorf("larger than %d MiB, which is the most a photo or recording may have", MaxSize>>20)

	// ErrType is returned when bytes are none of the sorts that are kept.
	ErrType = errors.New("no photo (JPEG, PNG, GIF, WebP), no recording (WAV, MP3, M4A, Ogg) and no PDF, by what is in it")

	// ErrFilm is returned for a film: it would fill a bench's disk and the line to the
	// others. A recording in the same kind of file is taken.
	ErrFilm = errors.New("a film, and films are not kept; take a photo, or record the sound alone")

	// ErrFull is returned when the disk has no room.
	ErrFull = errors.New("the disk is full")

	// ErrNotHere is returned when a piece is not at this bench.
	ErrNotHere = errors.New("not at this bench")

	// ErrDamaged is returned when bytes do not have the hash that names them.
	ErrDamaged = errors.New("damaged: the bytes are not those that were kept")

	// ErrBusy is returned when another program fetches pieces into the folder.
	ErrBusy = errors.New("another program fetches here")
)

// plain puts the reason that an owner can act on into words.
func plain(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return fmt.Errorf("%w: %w", ErrFull, err)
	}
	return err
}

// absent reports whether a file is not there.
func absent(err error) bool { return errors.Is(err, fs.ErrNotExist) }
