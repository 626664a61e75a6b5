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
	var how []pebble.CheckpointOption
	if !l.opt.ReadOnly {
		how = append(how, pebble.WithFlushedWAL())
	}
	if err := l.db.Checkpoint(dir, how...); err != nil {
		return fmt.Errorf("copy the store to %s: %w", dir, plain(err))
	}
	return nil
}
