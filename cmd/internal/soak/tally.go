package main

import (
	"maps"
	"slices"
	"sync"
	"time"
)

// tally counts what was done and what happened.
type tally struct {
	mu     sync.Mutex
	deeds  map[string]int
	broke  map[string]int // deeds that a fault broke off
	faults map[string]int
	resent int
}

func newTally() *tally {
	return &tally{deeds: map[string]int{}, broke: map[string]int{}, faults: map[string]int{}}
}

func (t *tally) done(deed string) { t.add(t.deeds, deed) }

func (t *tally) broken(deed string) { t.add(t.broke, deed) }

func (t *tally) happened(fault string) { t.add(t.faults, fault) }

func (t *tally) add(to map[string]int, what string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	to[what]++
}

// again counts a form that is sent a second time.
func (t *tally) again() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.resent++
}

// sum is how many there are of all.
func sum(m map[string]int) (n int) {
	for _, x := range m {
		n += x
	}
	return n
}

// never says which deeds were not done once.
func (t *tally) never(deeds ...deed) (names []string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, d := range deeds {
		if t.deeds[d.name] == 0 {
			names = append(names, d.name)
		}
	}
	return names
}

// times are how long the program took, by the kind of asking, where no fault went on.
type times struct {
	mu   sync.Mutex
	list map[string][]time.Duration
}

func newTimes() *times { return &times{list: map[string][]time.Duration{}} }

func (t *times) took(kind string, how time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.list[kind] = append(t.list[kind], how)
}

// spread is how a kind of deed took: how many, the middle, the slowest of a hundred,
// the slowest.
type spread struct {
	kind            string
	n               int
	p50, p99, worst time.Duration
}

func (t *times) spreads() (list []spread) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, kind := range slices.Sorted(maps.Keys(t.list)) {
		all := slices.Sorted(slices.Values(t.list[kind]))
		at := func(share float64) time.Duration { return all[int(share*float64(len(all)-1))] }
		list = append(list, spread{kind, len(all), at(0.5), at(0.99), at(1)})
	}
	return list
}
