package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"sync"
)

// ledger is all that benches said is saved. An action of a command is known by the ids
// of its events; one of a page's form, which shows none, by a mark that stands in what
// was typed.
type ledger struct {
	mu    sync.Mutex
	ids   map[string]string // of events, with the bench that said so
	marks map[string]string
	gone  []string // customers who were forgotten
}

func newLedger() *ledger { return &ledger{ids: map[string]string{}, marks: map[string]string{}} }

func (l *ledger) saved(bench string, ids ...string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, id := range ids {
		l.ids[id] = bench
	}
}

func (l *ledger) marked(bench, mark string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.marks[mark] = bench
}

func (l *ledger) forgotten(name string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.gone = append(l.gone, name)
}

func (l *ledger) count() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.ids) + len(l.marks)
}

// of is what a bench said is saved, or what all said, for no name.
func (l *ledger) of(bench string) *ledger {
	l.mu.Lock()
	defer l.mu.Unlock()
	part := newLedger()
	for id, b := range l.ids {
		if bench == "" || b == bench {
			part.ids[id] = b
		}
	}
	for mark, b := range l.marks {
		if bench == "" || b == bench {
			part.marks[mark] = b
		}
	}
	part.gone = append(part.gone, l.gone...)
	return part
}

// markForm is how marks look, so that they are found in an export.
var markForm = regexp.MustCompile(`sk-[a-z]+\d-\d{6}`)

// held is what an export holds.
type held struct {
	ids    map[string]bool
	marks  map[string]int // in how many events
	events int
}

// readExport reads an export, line by line. An event's record is not looked into: what
// it says stands in its data.
func readExport(r io.Reader) (h held, err error) {
	h = held{ids: map[string]bool{}, marks: map[string]int{}}
	lines := bufio.NewReaderSize(r, 1<<20)
	for {
		line, err := lines.ReadBytes('\n')
		if len(line) > 0 {
			var e struct {
				ID       string          `json:"id"`
				Sequence string          `json:"sequence"`
				Data     json.RawMessage `json:"data"`
			}
			if err := json.Unmarshal(line, &e); err != nil {
				return h, fmt.Errorf("read an export at event %d: %w", h.events+1, err)
			}
			h.ids[e.ID] = true
			h.events++
			seen := map[string]bool{}
			for _, m := range markForm.FindAllString(string(e.Data), -1) {
				if !seen[m] {
					seen[m] = true
					h.marks[m]++
				}
			}
		}
		if err == io.EOF {
			return h, nil
		}
		if err != nil {
			return h, err
		}
	}
}

// lacks says what was said to be saved and is not there, and what is there twice.
func (l *ledger) lacks(h held) (wrong []string) {
	for id, bench := range l.ids {
		if !h.ids[id] {
			wrong = append(wrong, fmt.Sprintf("event %s, saved at %s, is not there", id, bench))
		}
	}
	for mark, bench := range l.marks {
		if h.marks[mark] == 0 {
			wrong = append(wrong, fmt.Sprintf("what was marked %s, saved at %s, is not there", mark, bench))
		}
	}
	for mark, n := range h.marks {
		if n > 1 {
			wrong = append(wrong, fmt.Sprintf("what was marked %s is there %d times", mark, n))
		}
	}
	return wrong
}
