package main

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/projections"
)

// eventsAUnit is about how many events the invented shop has for each unit.
const eventsAUnit = 14.7

// leastUnits is the smallest invented shop.
const leastUnits = 200

// readSizes reads sizes in events, from the smallest to the largest.
func readSizes(text string) (sizes []int, err error) {
	for _, word := range strings.Split(text, ",") {
		n, err := strconv.Atoi(word)
		if err != nil || n < 1 {
			return nil, fmt.Errorf("-sizes %s: want numbers of events with commas between", text)
		}
		sizes = append(sizes, n)
	}
	slices.Sort(sizes)
	return slices.Compact(sizes), nil
}

// unitsFor is how many units make about so many events, in a number with two digits
// and noughts: a million events are the 68000 units that the table is measured on.
func unitsFor(events int) int {
	units := float64(events) / eventsAUnit
	digit := math.Pow(10, math.Floor(math.Log10(units))-1)
	return max(leastUnits, int(math.Round(units/digit)*digit))
}

// cost is what something costs at each size.
type cost struct {
	name string
	at   []sized // from the smallest size to the largest
}

// sized is a cost in seconds on a shop of some events.
type sized struct {
	events int
	took   float64
}

// followed is over how large a span of sizes, up to the largest, a cost is followed.
// In a shop of a few thousand events most models and parts come for the first time, so
// that answers about them are still getting longer.
const followed = 100

// slope is how a cost follows the size of the log: 0 is not at all, 1 is in step with
// it. It is the slope of the line on a picture that is logarithmic both ways, between
// its ends.
func (c *cost) slope() float64 {
	last := c.at[len(c.at)-1]
	for _, s := range c.at {
		if s.events < last.events && float64(s.events)*followed*1.1 > float64(last.events) {
			return math.Log(last.took/s.took) / math.Log(float64(last.events)/float64(s.events))
		}
	}
	return 0
}

// whole reports whether a cost is of something that goes through the whole log, so that
// it may grow with it.
func (c *cost) whole() bool { return c.name == rebuildCost || c.name == catchUpCost }

const (
	rebuildCost = "rebuild"
	catchUpCost = "catch-up by a bundle"
)

// grows is the slope from which a cost is said to grow with the log: from there it
// takes 4 times as much at 100 times the size. Below it lies what a tree's depth and a
// cache's misses do, and noise.
const grows = 0.3

// measureGrowth measures the same costs on shops of several sizes, and prints them,
// those too that the file has from other runs; draws them, and says which grow.
func (a *asked) measureGrowth() (failed bool, err error) {
	a.table.head()
	for _, events := range a.sizes {
		a.stock = &stock{units: unitsFor(events)}
		for _, p := range growing() {
			if len(a.only) > 0 && !slices.Contains(a.only, p.name) {
				continue
			}
			fmt.Fprintf(a.progress, "%s %s at %s events\n", time.Now().Format("15:04:05"), p.name, inThousands(float64(events)))
			name := growthWord + p.name + " at " + inThousands(float64(events))
			why := a.attempt(func(t *turn) { p.work(t, t.addCost) })
			a.table.forget(name)
			if why != nil {
				if err := a.table.put(row{Figure: name, Failed: why.Error()}); err != nil {
					return true, err
				}
			}
		}
	}
	list := a.table.costs()
	a.printGrowth(list)
	if a.picture != "" && len(list) > 0 {
		err = os.WriteFile(a.picture, drawGrowth(list, growthSaid(list)), 0o644)
	}
	return a.failed(), err
}

// growthWord begins the names of the rows that are costs at one size.
const growthWord = "growth: "

// addCost puts a cost into the table, beside the same on the next smaller shop. An
// answer is judged by itself, and at ten million events beside one million.
func (t *turn) addCost(name string, took float64) {
	f := &figure{name: growthWord + name, unit: seconds, ours: []float64{took}}
	isAnswer := strings.HasPrefix(name, answerWord)
	if isAnswer {
		f.goal = atMost(1e-3)
	}
	alone := *f
	alone.name = name + " at " + inThousands(float64(t.count()))
	for _, c := range t.table.costs() {
		for _, s := range c.at {
			if c.name != name || s.events*5 > t.count() {
				continue
			}
			f.peer, f.theirs = "at "+inThousands(float64(s.events)), []float64{s.took}
			if isAnswer && s.events > 900_000 {
				f.goal = ratioAtMost(1.3)
			}
		}
	}
	list := []*figure{f}
	if f.goal.ratio { // a row has one goal
		list = append(list, &alone)
	}
	for _, f := range list {
		r := f.row(t.count())
		r.Rounds = t.most
		t.check(t.table.put(r))
	}
}

// costs are the rows that are costs, of all sizes.
func (t *table) costs() (list []*cost) {
	for _, r := range t.rows {
		name, is := strings.CutPrefix(r.Figure, growthWord)
		if !is || r.Failed != "" {
			continue
		}
		i := slices.IndexFunc(list, func(c *cost) bool { return c.name == name })
		if i < 0 {
			i = len(list)
			list = append(list, &cost{name: name})
		}
		list[i].at = append(list[i].at, sized{r.Events, r.Ours})
	}
	for _, c := range list {
		slices.SortFunc(c.at, func(a, b sized) int { return a.events - b.events })
	}
	return list
}

// printGrowth prints a line for each cost, with a column for each size.
func (a *asked) printGrowth(list []*cost) {
	var sizes []int
	for _, c := range list {
		for _, s := range c.at {
			sizes = append(sizes, s.events)
		}
	}
	slices.Sort(sizes)
	sizes = slices.Compact(sizes)
	fmt.Fprintf(a.table.out, "\n%-42s", "p50 of each cost, at so many events")
	for _, n := range sizes {
		fmt.Fprintf(a.table.out, " %10s", inThousands(float64(n)))
	}
	fmt.Fprintf(a.table.out, " %8s\n", "slope")
	for _, c := range list {
		fmt.Fprintf(a.table.out, "%-42s", c.name)
		for _, n := range sizes {
			shown := "-"
			if i := slices.IndexFunc(c.at, func(s sized) bool { return s.events == n }); i >= 0 {
				shown = showTime(c.at[i].took)
			}
			fmt.Fprintf(a.table.out, " %10s", shown)
		}
		fmt.Fprintf(a.table.out, " %8.2f\n", c.slope())
	}
	fmt.Fprintln(a.table.out, growthSaid(list))
}

// growthSaid says in a sentence which costs grow with the log.
func growthSaid(list []*cost) string {
	var grew, whole []string
	stayed, of := 0, 0
	for _, c := range list {
		if len(c.at) < 2 {
			continue
		}
		of++
		words := fmt.Sprintf("%s (%.2f)", c.name, c.slope())
		switch {
		case c.whole():
			whole = append(whole, words)
		case c.slope() >= grows:
			grew = append(grew, words)
		default:
			stayed++
		}
	}
	if of == 0 {
		return "One size alone says nothing of growth."
	}
	said := fmt.Sprintf("Of %d costs %d stay as the log grows.", of, stayed)
	if len(grew) > 0 {
		said += " These grow and should not, with their slope: " + strings.Join(grew, ", ") + "."
	}
	if len(whole) > 0 {
		said += " What goes through the whole log may grow with it: " + strings.Join(whole, ", ") + "."
	}
	return said
}

// answerWord begins the name of an answer's cost.
const answerWord = "answer: "

// growingPart is some costs that are measured together.
type growingPart struct {
	name string
	work func(t *turn, add adds)
}

// adds takes a cost, in seconds.
type adds func(name string, took float64)

func growing() []growingPart {
	return []growingPart{
		{"append", growAppend},
		{"past", growPast},
		{"answers", growAnswers},
		{"open", func(t *turn, add adds) {
			dir := t.copyOf(t.front())
			add("open", t.often(func() float64 { return t.openTime(dir) }))
		}},
		{"pages", growPages},
		{"sync", growSync},
		{"rebuild", func(t *turn, add adds) {
			s := t.openCopy(t.front())
			add(rebuildCost, t.often(func() float64 { return t.rebuilt(s) }))
		}},
		{"catch-up", func(t *turn, add adds) {
			b := t.bundle()
			add("catch-up by a bundle", t.often(func() float64 { return t.joinFrom(b) }))
		}},
	}
}

// often is the median of as many rounds as were asked for.
func (t *turn) often(once func() float64) float64 {
	var all []float64
	t.rounds(func() { all = append(all, once()) })
	return median(all)
}

func growAppend(t *turn, add adds) {
	s := t.openCopy(t.front())
	units := t.onTheBenches(s)
	for i := range warm {
		t.appendTo(s, units[i%len(units)].id)
	}
	add("append", t.often(func() float64 {
		return t.half(t.each, func(i int) error { return appendTo(s, units[i*7919%len(units)].id) })
	}))
	add("append, as a command saves it", t.often(func() float64 {
		return t.half(t.each, func(i int) error {
			_, err := s.Record(units[i*7919%len(units)].tag, app.Who{By: "bench"}, found)
			return err
		})
	}))
}

// half is the median of so many times, in seconds.
func (t *turn) half(n int, fn func(i int) error) float64 {
	var all []float64
	for i := range n {
		all = append(all, t.timed(func() error { return fn(i) }))
	}
	return median(all)
}

func growPast(t *turn, add adds) {
	s := t.openCopy(t.front())
	units := t.sample(s)
	v, err := s.Log.View()
	t.check(err)
	defer v.Close()
	add("a unit's past in the store", t.often(func() float64 {
		return t.half(10*t.each, func(i int) error { return loadPast(v, units[i*7919%len(units)].id) })
	}))
	add("lookup of a typed serial", t.often(func() float64 {
		return t.half(t.each, func(i int) error { return lookUp(s, units[i*7919%len(units)].serial) })
	}))
}

func growAnswers(t *turn, add adds) {
	v := t.viewOf(t.front())
	for _, q := range projections.Questions {
		add(answerWord+q.Name, t.often(func() float64 {
			return t.half(t.each, func(int) error { return askOurs(v, q, projections.Asked{AsOf: asOf}) })
		}))
	}
}

// growthPages are the pages whose cost is followed, as a pattern for the pages'
// benchmark: one that a hand waits for, and one of each kind of lookup and answer.
const growthPages = "^(today|unit|lookup_tag|lookup_serial|lookup_slip|rarity|failures|year)$"

func growPages(t *turn, add adds) {
	b := t.browse(growthPages, t.most)
	for _, page := range b.names {
		var all []float64
		for _, m := range b.of[page] {
			all = append(all, m["alone-p50-ms"]/1000)
		}
		add("page: "+page, median(all))
	}
}

func growSync(t *turn, add adds) {
	p := t.livePair()
	defer p.stop()
	add("sync of one event", t.often(func() float64 {
		return median(t.oneByOne(p.writer.log, p.reader.log, p.unit.id, t.each/2, nil))
	}))
}
