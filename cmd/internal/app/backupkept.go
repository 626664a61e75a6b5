package app

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"time"

	"oldhand/cmd/internal/backup"
)

// backupsFile remembers the last backups, for Doctor and the page.
const backupsFile = "backups.json"

// LastBackup is what is remembered of a backup of this folder.
type LastBackup struct {
	At      string `json:"at"` // RFC 3339, when it was made
	File    string `json:"file"`
	Events  uint64 `json:"events"`
	Digest  string `json:"digest,omitempty"`  // as verify gives it; none where it was not tried out
	Checked string `json:"checked,omitempty"` // RFC 3339, when it was tried out last
}

// Backups are the last one, and the last that was tried out; nil for none.
type Backups struct {
	Last, Proven *LastBackup
}

// keptBackups is the file: the last, and beside it the last that was tried out.
type keptBackups struct {
	LastBackup
	Proven *LastBackup `json:"proven,omitempty"`
}

// Day is when it was made, in the words of a page.
func (l LastBackup) Day() string { return shownTime(l.At) }

// Tried is when it was tried out last, so; empty for never.
func (l LastBackup) Tried() string { return shownTime(l.Checked) }

func (l LastBackup) olderThan(now time.Time, d time.Duration) (bool, error) {
	at, err := time.Parse(time.RFC3339, l.At)
	if err != nil {
		return false, fmt.Errorf("%s: %w", backupsFile, err)
	}
	return now.Sub(at) > d, nil
}

// Backups is what is remembered of this folder's backups.
func (s *Shop) Backups() (Backups, error) { return backupsOf(s.Dir) }

func backupsOf(dir string) (b Backups, err error) {
	var k keptBackups
	err = readJSON(filepath.Join(dir, backupsFile), &k)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return b, nil
	case err != nil:
		return b, err
	}
	b.Last, b.Proven = &k.LastBackup, k.Proven
	if b.Proven == nil && k.Digest != "" {
		b.Proven = b.Last
	}
	return b, nil
}

// rememberedAs is a backup as it is remembered: by where it is from anywhere.
func rememberedAs(path string, c backup.Card) LastBackup {
	if whole, err := filepath.Abs(path); err == nil {
		path = whole
	}
	return LastBackup{At: c.Made, File: path, Events: c.Events}
}

// rememberBackup remembers a backup that was written, or tried out once more. An
// older one takes the place of none.
func rememberBackup(dir string, l LastBackup) error {
	b, err := backupsOf(dir)
	if err != nil {
		return err
	}
	k := keptBackups{l, b.Proven}
	if b.Last != nil && later(b.Last.At, l.At) {
		k.LastBackup = *b.Last
	}
	if l.Digest != "" && (b.Proven == nil || !later(b.Proven.At, l.At)) {
		k.Proven = &l
	}
	return writeJSON(filepath.Join(dir, backupsFile), k)
}

// later reports whether an instant is after another; one that can't be read is not.
func later(a, b string) bool {
	x, errA := time.Parse(time.RFC3339, a)
	y, errB := time.Parse(time.RFC3339, b)
	return errA == nil && (errB != nil || x.After(y))
}

// NoteChecked remembers that a backup was tried out, if it is of the bench in a
// folder; of another, or where there is none, nothing is remembered.
func NoteChecked(dir string, r Restored, path string, now time.Time) error {
	card, err := readCard(dir)
	if errors.As(err, new(*NoShop)) || err == nil && (card.Shop != r.Shop || card.Bench != r.Bench) {
		return nil
	}
	if err != nil {
		return err
	}
	l := rememberedAs(path, r.Card)
	l.Digest, l.Checked = r.Proven.Digest, now.Format(time.RFC3339)
	return rememberBackup(dir, l)
}
