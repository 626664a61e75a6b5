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
	Lost         string // why it can't be told; empty where it can
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

func (l LastBackup) olderThan(now time.Time, d time.Duration) bool {
	at, err := time.Parse(time.RFC3339, l.At)
	return err != nil || now.Sub(at) > d
}

// Backups is what is remembered of this folder's backups.
func (s *Shop) Backups() Backups { return backupsOf(s.Dir) }

func backupsOf(dir string) (b Backups) {
	var k keptBackups
	err := readJSON(filepath.Join(dir, backupsFile), &k)
	if err == nil {
		if _, err = time.Parse(time.RFC3339, k.At); err != nil {
			err = &Torn{filepath.Join(dir, backupsFile), err}
		}
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return b
	case err != nil: // it costs trying one out; a backup that is written or tried out writes it anew
		b.Lost = fmt.Sprintf("which were made of this folder can't be told: %v", err)
		return b
	}
	b.Last, b.Proven = &k.LastBackup, k.Proven
	if b.Proven == nil && k.Digest != "" {
		b.Proven = b.Last
	}
	return b
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
	b := backupsOf(dir)
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
