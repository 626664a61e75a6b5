package eventlog

import (
	"context"
	"fmt"

	"github.com/cockroachdb/pebble/v2"
)

// A key that the keyring dropped is not read any more, but its bytes stay where
// they were written until the store's files are written anew, and whoever has
// the disk could find them there. Scouring writes anew the files that hold the
// keyring. The write-ahead log's old files are let go at the next opening for
// writing at the latest. What the disk itself keeps of deleted files is beyond
// this program.

// Scour takes dropped keys out of the store's files, where any were dropped since
// the last time. A view that is held from before keeps what it shows.
func (l *Log) Scour(ctx context.Context) error {
	if err := l.Err(); err != nil {
		return err
	}
	err := l.alone(func() error {
		due, err := l.getMeta(metaScour)
		if err != nil || due == nil {
			return err
		}
		// What is in memory of the range goes into a table first.
		if err := l.db.Compact(ctx, []byte{famKeyring}, []byte{famKeyring + 1}, false); err != nil {
			return err
		}
		return l.db.Delete(metaScour, pebble.Sync)
	})
	if err != nil {
		return fmt.Errorf("take dropped keys out of the store's files: %w", err)
	}
	return nil
}
