package main

import (
	"bufio"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Pages as browsers get them over the network of this machine, while a hand writes
// and each of its notes is synced: by the benchmark of package web, which has the list
// of pages, run as a process of its own on a copy of the shop.
func pagesPart(t *turn) {
	rounds := t.browse("", t.most)
	for _, page := range rounds.names {
		one := &figure{name: "page " + page + ", p99, asked alone", unit: seconds, goal: atMost(10e-3)}
		crowd := &figure{name: "page " + page + ", p99, asked by eight at once", unit: seconds}
		for _, m := range rounds.of[page] {
			one.alone(m["alone-p99-ms"] / 1000)
			crowd.alone(m["p99-ms"] / 1000)
		}
		t.tell(one, crowd)
	}
}

// browsed is what the benchmark of pages printed: of each page, for each round, its
// numbers by their units.
type browsed struct {
	names []string
	of    map[string][]map[string]float64
}

// browse asks for the pages whose names match, or for all.
func (t *turn) browse(match string, rounds int) browsed {
	out := t.inRoot("test", "./cmd/internal/web", "-run", "^$", "-bench", "^BenchmarkPages$/"+match, "-benchtime", fmt.Sprintf("%dx", t.each),
		"-count", strconv.Itoa(rounds), "-timeout", "60m", "-shop", t.copyOf(t.front()))
	b, err := readBrowsed(out)
	t.check(err)
	return b
}

// readBrowsed reads lines of the form that the testing package prints (see
// golang.org/design/14313-benchmark-format): a name, how often, then values each
// before its unit.
func readBrowsed(out string) (browsed, error) {
	b := browsed{of: map[string][]map[string]float64{}}
	lines := bufio.NewScanner(strings.NewReader(out))
	for lines.Scan() {
		fields := strings.Fields(lines.Text())
		if len(fields) < 4 || !strings.HasPrefix(fields[0], "BenchmarkPages/") {
			continue
		}
		values := map[string]float64{}
		for i := 2; i+1 < len(fields); i += 2 {
			v, err := strconv.ParseFloat(fields[i], 64)
			if err != nil {
				return b, fmt.Errorf("read %q of the pages' benchmark: %w", lines.Text(), err)
			}
			values[fields[i+1]] = v
		}
		name := pageName(fields[0])
		if !slices.Contains(b.names, name) {
			b.names = append(b.names, name)
		}
		b.of[name] = append(b.of[name], values)
	}
	if len(b.names) == 0 {
		return b, fmt.Errorf("the pages' benchmark printed no figures: %s", firstLines(out))
	}
	return b, nil
}

// pageName is a page's name without what the testing package puts around it.
func pageName(field string) string {
	name := strings.TrimPrefix(field, "BenchmarkPages/")
	if i := strings.LastIndexByte(name, '-'); i > 0 { // the number of processors
		name = name[:i]
	}
	return strings.ReplaceAll(name, "_", " ")
}
