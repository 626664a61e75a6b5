package web

import (
	"crypto/rand"
	"fmt"
	"sync"
	"sync/atomic"

	"oldhand/cmd/internal/app"
)

// mostBooks is how many files are in hand at once. They are in memory, so that
// nothing of an old book lies about unless it is taken.
const mostBooks = 3

// books are the files that are being read in.
type books struct {
	mu   sync.Mutex
	list []*book
}

// book is one of them, and how far it is. Its fields are read and changed under
// its lock; what runs has the file to itself meanwhile.
type book struct {
	id, name string

	mu      sync.Mutex
	file    *app.Incoming
	running string // what is being done; empty for nothing
	done    atomic.Int64
	tried   *app.Imported // what a dry run came to
	taken   *app.Imported // what taking it in came to
	events  *app.ReadIn   // what taking an export in came to
	failed  error
	settled map[string]string // pairs that were answered, and how
}

// add takes a file into hand; the one that was there longest and does nothing
// makes room.
func (b *books) add(name string, f *app.Incoming) (*book, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.list) >= mostBooks && !b.makeRoom() {
		return nil, &app.Wrong{What: "the file", Why: fmt.Sprintf("has to wait: %d others are being read in", mostBooks)}
	}
	k := &book{id: rand.Text()[:10], name: name, file: f, settled: map[string]string{}}
	b.list = append(b.list, k)
	return k, nil
}

func (b *books) makeRoom() bool {
	for i, k := range b.list {
		if !k.isRunning() {
			b.list = append(b.list[:i:i], b.list[i+1:]...)
			return true
		}
	}
	return false
}

func (k *book) isRunning() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.running != ""
}

// all are the files in hand.
func (b *books) all() []*book {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]*book(nil), b.list...)
}

// by finds a file in hand.
func (b *books) by(id string) (*book, error) {
	for _, k := range b.all() {
		if k.id == id {
			return k, nil
		}
	}
	return nil, &app.NotHere{Unit: "the file", Why: "is not in hand any more; give it once more. What was taken of it is here and is not taken twice"}
}

// drop lets go of a file that nothing is done with.
func (b *books) drop(id string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i, k := range b.list {
		if k.id == id && k.isRunning() {
			return &app.NotHere{Unit: "the file", Why: "is being read in; wait until that is through"}
		}
		if k.id == id {
			b.list = append(b.list[:i:i], b.list[i+1:]...)
			return nil
		}
	}
	return nil
}

// run does something with the file beside the page. It is no request: a browser
// that goes away does not end it, and what is taken is whole row by row.
func (k *book) run(what string, fn func(progress func(int)) error) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.running != "" {
		return &app.NotHere{Unit: "the file", Why: "is busy: " + k.running}
	}
	k.running, k.failed = what, nil
	k.done.Store(0)
	go func() {
		err := fn(func(n int) { k.done.Store(int64(n)) })
		k.mu.Lock()
		defer k.mu.Unlock()
		k.running, k.failed = "", err
	}()
	return nil
}

// try does all but write.
func (k *book) try(shop *app.Shop) error {
	return k.run("tried without writing", func(progress func(int)) error {
		res, err := shop.ReadIn(k.file, app.ImportOptions{DryRun: true, Progress: progress})
		k.mu.Lock()
		defer k.mu.Unlock()
		if err == nil {
			k.tried = &res
		}
		return err
	})
}

// take takes the file in.
func (k *book) take(shop *app.Shop) error {
	return k.run("taken in", func(progress func(int)) error {
		if k.file.Kind == app.Export {
			res, err := shop.TakeExport(k.file, progress)
			k.mu.Lock()
			defer k.mu.Unlock()
			if err == nil {
				k.events = &res
			}
			return err
		}
		res, err := shop.ReadIn(k.file, app.ImportOptions{Progress: progress})
		k.mu.Lock()
		defer k.mu.Unlock()
		if err == nil {
			k.taken = &res
		}
		return err
	})
}
