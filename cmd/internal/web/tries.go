package web

import (
	"net"
	"sync"
	"time"
)

// tries counts wrong codes, by where they come from and all together. A code has
// 128 bits and is not to be guessed; this keeps whoever tries from being heard.
// Devices that are known are not asked to wait.
type tries struct {
	now func() time.Time

	mu   sync.Mutex
	from map[string]window
	all  window
}

// window is how many there were since when.
type window struct {
	since time.Time
	n     int
}

const (
	triesFor   = time.Minute
	mostWrong  = 8   // from one address within that
	mostOfAll  = 100 // and from all
	mostCounts = 1000
)

func (w window) at(now time.Time) window {
	if age := now.Sub(w.since); age < 0 || age >= triesFor {
		return window{since: now}
	}
	return w
}

// wrong counts one.
func (t *tries) wrong(remote string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now, host := t.now(), hostOf(remote)
	if t.from == nil || len(t.from) >= mostCounts {
		t.from = map[string]window{} // that of all goes on
	}
	w := t.from[host].at(now)
	w.n++
	t.from[host] = w
	t.all = t.all.at(now)
	t.all.n++
}

// tooMany reports whether somebody is to wait.
func (t *tries) tooMany(remote string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now()
	return t.from[hostOf(remote)].at(now).n >= mostWrong || t.all.at(now).n >= mostOfAll
}

func hostOf(remote string) string {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		return remote
	}
	return host
}
