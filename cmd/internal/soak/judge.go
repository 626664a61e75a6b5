package main

import (
	"bufio"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// rest is what a process holds while nobody does anything.
type rest struct {
	running
	rss   int64
	files []string
	where string // where each goroutine is
}

// atRest looks at all benches at rest. Our own connections are closed first.
func (s *soak) atRest() map[string]rest {
	all := map[string]rest{}
	for _, b := range s.benches {
		b.mu.Lock()
		client := b.client
		b.mu.Unlock()
		client.CloseIdleConnections()
	}
	pause(s.all, 2*time.Second)
	for _, b := range s.benches {
		r, err := s.askRunning(b, true)
		if err != nil {
			s.wrong("bench %s at rest: %v", b.name, err)
		}
		x := rest{running: r, rss: residentOf(b.pid()), files: filesOf(b.pid())}
		if a, err := b.get(s.all, "/running/where"); err == nil {
			x.where = string(a.body)
		}
		all[b.name] = x
	}
	return all
}

func describe(m map[string]rest) string {
	var list []string
	for _, name := range slices.Sorted(maps.Keys(m)) {
		list = append(list, fmt.Sprintf("%s %d goroutines, %d files, %s", name, m[name].Goroutines, len(m[name].files), mib(m[name].rss)))
	}
	return strings.Join(list, "; ")
}

// How many more of each there may be at the end than at the beginning, both at rest.
// Workers that rest until they are needed again come and go.
const (
	moreGoroutines = 6
	moreFiles      = 4 // of each kind, besides the folder's own
)

// goneWithin is how long, after the rest, what killed processes left behind may take to
// go: a host forgets the readers of a bench that it does not hear any more only after a
// while (package exchange says how long).
const goneWithin = 3 * time.Minute

// rest wants that no goroutine and no file was left behind. What goes by itself is
// waited for.
func (s *soak) rest() {
	began := time.Now()
	for s.end.rest = s.atRest(); ; s.end.rest = s.atRest() {
		left := s.leftBehind()
		if len(left) == 0 {
			break
		}
		if time.Since(began) > goneWithin || s.all.Err() != nil {
			for _, l := range left {
				s.wrong("%s", l)
			}
			break
		}
		pause(s.all, 5*time.Second)
	}
	s.end.gone = time.Since(began)
}

// leftBehind says what there is more at rest than there was at the beginning.
func (s *soak) leftBehind() (list []string) {
	say := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	for _, b := range s.benches {
		was, is := s.held[b.name], s.end.rest[b.name]
		if n := is.Goroutines - was.Goroutines; n > moreGoroutines {
			say("bench %s: %d goroutines at rest, %d at the beginning; more than before:\n%s", b.name, is.Goroutines, was.Goroutines, grown(was.where, is.where))
		}
		before, after := kindsOf(b.dir, was.files), kindsOf(b.dir, is.files)
		for kind, n := range after {
			if n > before[kind]+moreFiles && kind != ofFolder {
				say("bench %s: %d open files %s at rest, %d at the beginning: %s", b.name, n, kind, before[kind], strings.Join(is.files, " "))
			}
		}
	}
	return list
}

// ofFolder are the folder's own files, each of them once: the store and the exchange
// have open what they have on disk, and that grows.
const ofFolder = "of the folder"

// kindsOf counts open files by what they are.
func kindsOf(dir string, files []string) map[string]int {
	m, seen := map[string]int{}, map[string]bool{}
	for _, f := range files {
		again := seen[f]
		seen[f] = true
		switch {
		case strings.HasPrefix(f, dir) && again:
			m["of the folder, open twice"]++
		case strings.HasPrefix(f, dir) && !strings.HasSuffix(f, " (deleted)"):
			m[ofFolder]++
		case strings.HasSuffix(f, " (deleted)"):
			m["that were deleted"]++
		case strings.HasPrefix(f, "/dev/"), !strings.HasPrefix(f, "/"):
			kind, _, _ := strings.Cut(f, ":")
			m["of kind "+kind]++
		default:
			m["elsewhere"]++
		}
	}
	return m
}

var stack = regexp.MustCompile(`(?m)^(\d+) @[^\n]*\n((?:#[^\n]*\n?)*)`)

// grown is which stacks more goroutines have than before, the first lines of each.
func grown(was, is string) string {
	before := map[string]int{}
	count := func(text string, add func(n int, key string)) {
		for _, m := range stack.FindAllStringSubmatch(text, -1) {
			var n int
			_, _ = fmt.Sscan(m[1], &n)
			var key []string
			for i, line := range strings.Split(m[2], "\n") {
				if f := strings.Fields(line); i < 6 && len(f) > 2 {
					key = append(key, f[2])
				}
			}
			add(n, strings.Join(key, " < "))
		}
	}
	count(was, func(n int, key string) { before[key] += n })
	after := map[string]int{}
	count(is, func(n int, key string) { after[key] += n })
	var lines []string
	for key, n := range after {
		if n > before[key] {
			lines = append(lines, fmt.Sprintf("    %+d  %s", n-before[key], key))
		}
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

// What a process may grow by in the second half and still be flat: the block cache of
// its store fills up once (events/eventlog keeps it at 64 MiB), and what is kept of
// each action beside the log, such as customers' names, marks of forms and lists of
// files, takes some of it. What is left is room for what the collector has not let go.
const (
	blockCache = 64 << 20
	anAction   = 2 << 10
	slack      = 24 << 20
)

// growth is how a long-lived process' memory went in the second half.
type growth struct {
	bench      string
	samples    int
	heap, rss  float64 // bytes an hour
	grew, most float64 // bytes in that time, of the heap, and how much it may be
	flat       bool
}

func (s *soak) growths() (list []growth) {
	for _, b := range s.benches {
		all := s.samples.of(b, s.length/2)
		if len(all) < 10 {
			continue
		}
		first, last := all[0], all[len(all)-1]
		g := growth{bench: b.name, samples: len(all), heap: slope(all, func(x sample) int64 { return x.live }), rss: slope(all, func(x sample) int64 { return x.rss })}
		g.grew = max(g.heap, g.rss) * (last.at - first.at).Hours()
		g.most = float64(max(0, blockCache-sizeOf(filepath.Join(b.dir, "store"))) + int64(last.saved-first.saved)*anAction + slack)
		g.flat = g.grew <= g.most
		list = append(list, g)
	}
	return list
}

func (s *soak) judgeMemory() {
	for _, g := range s.growths() {
		if !g.flat {
			s.wrong("bench %s: its memory grew by %s in the second half, at most %s is flat", g.bench, mib(int64(g.grew)), mib(int64(g.most)))
		}
	}
}

var (
	never    = regexp.MustCompile(`panic|fatal error|goroutine \d+ \[|DATA RACE`)
	slogLine = regexp.MustCompile(`level=(\w+) msg=("[^"]*"|\S+)`)
)

// expected is what a process says besides what it logs for an owner.
var expected = regexp.MustCompile(`^note: the disk is filling up|^$`)

// judgeWords reads what the processes said besides their pages: nothing of it may be a
// crash, and only a full disk is an error.
func (s *soak) judgeWords() {
	for _, b := range s.benches {
		f, err := os.Open(b.said())
		if err != nil {
			s.wrong("%v", err)
			continue
		}
		lines := bufio.NewScanner(f)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			s.judgeLine(b, lines.Text())
		}
		_ = f.Close() // it was only read
	}
}

func (s *soak) judgeLine(b *bench, line string) {
	onDisk := s.disk != nil && b == s.last() && (strings.Contains(line, "disk") || strings.Contains(line, "no space"))
	m := slogLine.FindStringSubmatch(line)
	switch {
	case never.MatchString(line):
		s.wrong("bench %s says: %s", b.name, line)
	case m != nil && m[1] == "ERROR" && !onDisk:
		s.wrong("bench %s says: %s", b.name, line)
	case m != nil && m[1] == "INFO", expected.MatchString(line):
	case onDisk:
		s.did.happened("said on its full disk")
	default:
		s.wrong("bench %s says what nobody expects: %s", b.name, line)
	}
}

func mib(n int64) string { return fmt.Sprintf("%.1f MiB", float64(n)/(1<<20)) }
