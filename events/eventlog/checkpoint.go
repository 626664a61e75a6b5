package eventlog

import (
	"fmt"

	"github.com/cockroachdb/pebble/v2"
)

// Checkpoint puts a copy of the store as it is at a moment of the call into a
// folder that is not there yet, while the log is read and written: what was
// acknowledged before is in it. Files that don't change any more are hard links to
// the store's own where the disk has those, so a copy that is to outlive the disk
// has to be copied on.
func (l *Log) Checkpoint(dir string) error {
	if err := l.Err(); err != nil {
		return err
	}
	v, err := l.View() // holds the store open meanwhile
	if err != nil {
		return err
	}
	err = l.unlessDead(func() error {
		defer v.Close()
		return plain(l.db.Checkpoint(dir, pebble.WithFlushedWAL()))
	})
	if err != nil {
		return fmt.Errorf("copy the store to %s: %w", dir, err)
	}
	return nil
}
