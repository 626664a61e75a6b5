package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// sample is what a bench's process holds at a moment.
type sample struct {
	at         time.Duration // since the work began
	bench      string
	life       int // the how manyth process of the bench
	saved      int // actions that were said to be saved at all benches
	rss        int64
	live       int64
	goroutines int
	files      int
	disk       int64 // of the folder; 0 where it was not looked at
}

type samples struct {
	mu   sync.Mutex
	list []sample
}

// running is what a process says of itself.
type running struct {
	Goroutines int
	Live       int64 `json:"live_bytes"`
}

// ask asks a process how it is.
func (s *soak) askRunning(b *bench, collect bool) (r running, err error) {
	path := "/running"
	if collect {
		path += "?collect=yes"
	}
	a, err := b.get(s.all, path)
	if err == nil && a.status != 200 {
		err = fmt.Errorf("%s is answered with status %d", path, a.status)
	}
	if err == nil {
		err = json.Unmarshal(a.body, &r)
	}
	return r, err
}

// sampling samples all benches until the context ends. A bench that is not up has none.
func (s *soak) sampling(ctx context.Context) {
	for n := 0; ctx.Err() == nil; n++ {
		for _, b := range s.benches {
			before := b.mood()
			x := sample{at: time.Since(s.began), bench: b.name, life: b.life(), saved: s.ledger.count()}
			r, err := s.askRunning(b, false)
			if err != nil {
				if !b.excused(before) && ctx.Err() == nil {
					s.wrong("bench %s, how it runs: %v", b.name, err)
				}
				continue
			}
			x.goroutines, x.live = r.Goroutines, r.Live
			x.rss, x.files = residentOf(b.pid()), len(filesOf(b.pid()))
			if n%6 == 0 {
				x.disk = sizeOf(b.dir)
			}
			if !b.excused(before) {
				s.samples.mu.Lock()
				s.samples.list = append(s.samples.list, x)
				s.samples.mu.Unlock()
			}
		}
		pause(ctx, s.every)
	}
}

// residentOf is the memory of a process that is in memory, in bytes; 0 where the
// system does not tell.
func residentOf(pid int) int64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
	fields := strings.Fields(string(text))
	if err != nil || len(fields) < 2 {
		return 0
	}
	pages, _ := strconv.ParseInt(fields[1], 10, 64)
	return pages * int64(os.Getpagesize())
}

// filesOf is what a process has open, by what each is; none where the system does not
// tell.
func filesOf(pid int) (list []string) {
	dir := fmt.Sprintf("/proc/%d/fd", pid)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	for _, e := range entries {
		if to, err := os.Readlink(filepath.Join(dir, e.Name())); err == nil {
			list = append(list, to)
		}
	}
	return list
}

// sizeOf is how much a folder's files hold.
func sizeOf(dir string) (n int64) {
	_ = filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			if i, err := d.Info(); err == nil {
				n += i.Size()
			}
		}
		return nil // what goes away while it is looked at does not count
	})
	return n
}

// of are the samples of a bench from a moment on, those of its last process only.
func (s *samples) of(b *bench, from time.Duration) (list []sample) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, x := range s.list {
		if x.bench == b.name && x.at >= from && x.life == b.life() {
			list = append(list, x)
		}
	}
	return list
}

// slope is the middle of the slopes between all pairs of samples (Theil, 1950; Sen,
// 1968), an hour: a few that lie far off move it little.
func slope(list []sample, value func(sample) int64) (perHour float64) {
	var all []float64
	for i, a := range list {
		for _, b := range list[i+1:] {
			if d := (b.at - a.at).Hours(); d > 0 {
				all = append(all, float64(value(b)-value(a))/d)
			}
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// write writes all samples as a table.
func (s *samples) write(path string) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	w := csv.NewWriter(f)
	rows := [][]string{{"seconds", "bench", "process", "saved", "resident_bytes", "heap_bytes", "goroutines", "open_files", "folder_bytes"}}
	s.mu.Lock()
	for _, x := range s.list {
		rows = append(rows, []string{fmt.Sprintf("%.1f", x.at.Seconds()), x.bench, strconv.Itoa(x.life), strconv.Itoa(x.saved), strconv.FormatInt(x.rss, 10),
			strconv.FormatInt(x.live, 10), strconv.Itoa(x.goroutines), strconv.Itoa(x.files), strconv.FormatInt(x.disk, 10)})
	}
	s.mu.Unlock()
	if err := w.WriteAll(rows); err != nil {
		return err
	}
	return f.Close()
}
