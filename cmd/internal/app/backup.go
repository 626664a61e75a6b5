package app

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"oldhand/cmd/internal/backup"
	"oldhand/events/eventlog"
	"oldhand/events/wholefile"
)

// scratchPrefix is what a folder's passing folders begin with, which are swept at
// the next backup or dry run where a crash left one.
const scratchPrefix = "backup-"

// BackedUp says what a backup holds, and what trying it out found.
type BackedUp struct {
	File string `json:"file"`
	backup.Card
	Size   int64     `json:"size"` // bytes of the file
	Sealed bool      `json:"sealed"`
	Proven *Verified `json:"proven,omitempty"` // nil where it was not tried out
}

// BackUp writes the folder as it is, while it is worked with, into one file that is
// not there yet: events, photos and recordings, and this bench's keys. What the
// others bring again, or nobody needs, stays out. Where it is to be proven, what was
// written is unpacked beside and read whole.
func (s *Shop) BackUp(path, passphrase string, prove bool, told func(done, of int64)) (b BackedUp, err error) {
	if err := s.mayBackUpTo(path); err != nil {
		return b, err
	}
	if err := s.sweepScratch(); err != nil {
		return b, err
	}
	scratch, err := os.MkdirTemp(s.Dir, scratchPrefix+"*")
	if err != nil {
		return b, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	b = BackedUp{File: path, Sealed: passphrase != ""}
	files, err := s.packing(scratch, &b.Card)
	if err != nil {
		return b, err
	}
	err = wholefile.WriteFrom(path, func(w io.Writer) error {
		return backup.Pack(w, b.Card, files, passphrase, func(done int64) { tell(told, done, b.Bytes) })
	})
	if err != nil {
		return b, fmt.Errorf("write the backup %s: %w", path, err)
	}
	if info, err := os.Stat(path); err == nil {
		b.Size = info.Size()
	}
	last := rememberedAs(path, b.Card)
	if prove {
		v, err := proveFile(path, filepath.Join(scratch, "tried"), passphrase, b.Card)
		if err != nil {
			return b, fmt.Errorf("the backup %s was written and can't be relied on: %w", path, err)
		}
		b.Proven, last.Digest, last.Checked = &v, v.Digest, s.now().Format(time.RFC3339)
	}
	return b, rememberBackup(s.Dir, last)
}

func tell(told func(done, of int64), done, of int64) {
	if told != nil {
		told(done, of)
	}
}

// mayBackUpTo refuses a file that is there, and one in the folder itself.
func (s *Shop) mayBackUpTo(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already; a backup is written over nothing: name another file", path)
	}
	dir, err := filepath.Abs(filepath.Dir(path))
	if err != nil {
		return err
	}
	own, err := filepath.Abs(s.Dir)
	if err != nil {
		return err
	}
	if rel, err := filepath.Rel(own, dir); err == nil && filepath.IsLocal(rel) {
		return fmt.Errorf("%s is in the shop's own folder, and would be lost with it: name a file in another place", path)
	}
	return nil
}

func (s *Shop) sweepScratch() error {
	left, err := filepath.Glob(filepath.Join(s.Dir, scratchPrefix+"*"))
	for _, path := range left {
		if info, gone := os.Stat(path); gone == nil && info.IsDir() && s.now().Sub(info.ModTime()) > 24*time.Hour {
			err = errors.Join(err, os.RemoveAll(path))
		}
	}
	return err
}

// packing copies the store as it is at this moment, says so on the card, and lists
// what is packed.
func (s *Shop) packing(scratch string, c *backup.Card) (files []backup.File, err error) {
	store := filepath.Join(scratch, "store")
	if err := s.Log.Checkpoint(store); err != nil {
		return nil, err
	}
	c.Shop, c.Name, c.Bench, c.Made = s.Card.Shop, s.Card.Name, s.Card.Bench, s.now().Format(time.RFC3339)
	if err := s.reach(store, c); err != nil {
		return nil, err
	}
	if files, err = filesIn(store, "store", nil); err != nil {
		return nil, err
	}
	rest, err := filesIn(s.Dir, "", stays)
	files = append(rest, files...)
	for _, f := range files {
		c.Bytes += f.Size
	}
	c.Files = len(files)
	return files, err
}

// reach says on a card how far the feeds go in a copy of the store.
func (s *Shop) reach(store string, c *backup.Card) (err error) {
	l, err := eventlog.Open(eventlog.Options{Dir: store, Shop: s.Log.Shop(), ReadOnly: true, Now: s.now})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	v, err := l.View()
	if err != nil {
		return err
	}
	defer v.Close()
	feeds := map[string]bool{}
	for _, r := range l.Branches() {
		c.Events += r.Own()
		feeds[r.Feed.String()] = true
	}
	c.Feeds = len(feeds)
	c.Heads, err = headsOf(v)
	return err
}

// headsOf is one hash over how far what counts of every feed goes.
func headsOf(v *eventlog.View) (string, error) {
	heads, err := v.CountedHeads()
	h := sha256.New()
	writeHeads(h, heads)
	return hex.EncodeToString(h.Sum(nil)), err
}

// filesIn lists the plain files of a folder by name, but those that stay.
func filesIn(dir, as string, stays func(name string, folder bool) bool) (files []backup.File, err error) {
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // it went meanwhile
		}
		if err != nil || path == dir {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		name := filepath.ToSlash(rel)
		switch {
		case stays != nil && stays(name, d.IsDir()):
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		case !d.Type().IsRegular():
			return nil
		}
		info, err := d.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		files = append(files, backup.File{Name: strings.TrimPrefix(as+"/"+name, "/"), Path: path, Size: info.Size()})
		return nil
	})
	slices.SortFunc(files, func(a, b backup.File) int { return strings.Compare(a.Name, b.Name) })
	return files, err
}

// stays reports whether a file or folder of a shop is left out of a backup: the
// store, of which a copy goes in; what the others fill again; what is typed and
// not saved; and what is made anew where it is missing. Links and sockets are no
// plain files, and stay as well.
func stays(name string, folder bool) bool {
	if folder {
		return slices.Contains([]string{"store", exchangeDir, "drafts", "brought", evidenceDir + "/coming", evidenceDir + "/views", evidenceDir + "/damaged"}, name) ||
			strings.HasPrefix(name, scratchPrefix)
	}
	return name == "ballast" || name == backupsFile || name == scrubFile || strings.HasPrefix(name, "reading-") || strings.HasSuffix(name, ".lock") || strings.HasPrefix(filepath.Base(name), ".")
}
