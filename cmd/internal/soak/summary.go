package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"text/tabwriter"
	"time"
)

// summary prints what came of the run, as one table.
func (s *soak) summary(to io.Writer) {
	w := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	row := func(name, format string, args ...any) {
		fmt.Fprintf(w, "%s\t%s\n", name, fmt.Sprintf(format, args...))
	}
	s.did.mu.Lock()
	deeds, broke, faults, resent := maps.Clone(s.did.deeds), sum(s.did.broke), maps.Clone(s.did.faults), s.did.resent
	s.did.mu.Unlock()
	row("seed", "%d", s.seed)
	row("work", "%v, three benches, six people", s.length)
	row("deeds", "%d done, %d broken off by a fault, %d forms sent again", sum(deeds), broke, resent)
	for _, name := range slices.Sorted(maps.Keys(deeds)) {
		row("  "+name, "%d", deeds[name])
	}
	for _, name := range slices.Sorted(maps.Keys(faults)) {
		row("  "+name, "%d times", faults[name])
	}
	if s.disk == nil {
		row("  full disk", "left out: no small disk can be mounted here")
	}
	row("said to be saved", "%d events and marks", s.ledger.count())
	row("at the end", "%d events, %d units, %d photos; %d of %d benches have digest %.16s", s.end.events, s.end.units, s.end.photos, s.end.benches, len(s.benches), s.end.digest)
	for _, x := range s.times.spreads() {
		row(x.kind, "%d, half within %v, 99 of 100 within %v, worst %v", x.n, short(x.p50), short(x.p99), short(x.worst))
	}
	for _, b := range s.benches {
		was, is := s.held[b.name], s.end.rest[b.name]
		row(b.name+" at rest", "goroutines %d, then %d; open files %d, then %d; in memory %s, then %s; folder %s; started %d times",
			was.Goroutines, is.Goroutines, len(was.files), len(is.files), mib(was.rss), mib(is.rss), mib(sizeOf(b.dir)), b.life())
	}
	row("left behind", "gone %v after the rest", short(s.end.gone))
	for _, g := range s.growths() {
		row(g.bench+" second half", "heap %+.1f MiB an hour, resident %+.1f MiB an hour by %d samples; grew %s, flat up to %s: %s",
			g.heap/(1<<20), g.rss/(1<<20), g.samples, mib(int64(g.grew)), mib(int64(g.most)), map[bool]string{true: "flat", false: "NOT FLAT"}[g.flat])
	}
	row("wrong", "%d", len(s.faulty))
	_ = w.Flush() // there is nowhere left to say that this failed
}

func short(d time.Duration) time.Duration {
	if d > time.Second {
		return d.Round(10 * time.Millisecond)
	}
	return d.Round(100 * time.Microsecond)
}
