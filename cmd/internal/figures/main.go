package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/pprof"
	"slices"
	"strings"
	"time"
)

// asked is what a person asked the command for.
type asked struct {
	units    int
	most     int           // rounds
	longest  time.Duration // of one figure's rounds
	each     int           // how often a short thing is done in a round
	only     []string
	file     string // of JSON
	cache    string
	growth   bool
	sizes    []int // events
	picture  string
	profile  string
	dir      string // where all that is made is put
	stock    *stock
	table    *table
	progress io.Writer
	built    bool // the program
}

// part is some figures that are measured together.
type part struct {
	name string
	what string
	work func(*turn)
}

// parts are all of them, the quick ones first.
func parts() []part {
	return []part{
		{"append", "a durable append, beside a raw file that is synced and SQLite", appendPart},
		{"past", "a unit's past and a lookup, beside SQLite", pastPart},
		{"open", "open a shop's folder", openPart},
		{"answers", "each fleet question, beside SQLite and DuckDB, which must count the same", answersPart},
		{"narrowed", "questions about some units or visits, beside the same", narrowedPart},
		{"rebuild", "all projections anew, beside SQLite", rebuildPart},
		{"catchup", "a bench that joins, beside SQLite's bulk insert", catchUpPart},
		{"disk", "bytes an event on disk, beside SQLite", diskPart},
		{"visible", "from a commit until another bench has it, beside a bare server", visiblePart},
		{"wire", "bytes on the wire, beside JSON Lines packed", wirePart},
		{"refill", "an empty exchange filled and read, beside a bare server", refillPart},
		{"pages", "pages as browsers get them, from the benchmark of package web", pagesPart},
		{"memory", "the most memory that the program has at one time", memoryPart},
		{"years", "what grows with the number of feeds: ten years beside one", yearsPart},
	}
}

func main() {
	if len(os.Args) > 1 && os.Args[1] == aloneWord {
		os.Exit(alone(os.Args[2:], os.Stdout))
	}
	failed, err := run(os.Args[1:], os.Stdout, os.Stderr)
	switch {
	case errors.Is(err, flag.ErrHelp):
	case err != nil:
		fmt.Fprintln(os.Stderr, "figures:", err)
		os.Exit(2)
	case failed:
		os.Exit(1)
	}
}

// read understands the command's words.
func read(args []string, errOut io.Writer) (*asked, error) {
	a := &asked{progress: errOut}
	f := flag.NewFlagSet("figures", flag.ContinueOnError)
	f.SetOutput(errOut)
	f.IntVar(&a.units, "units", 68000, "units of the invented shop; about 14.7 events each")
	f.IntVar(&a.most, "rounds", 5, "how often each figure is measured")
	f.DurationVar(&a.longest, "longest", 10*time.Minute, "a figure has fewer rounds where they would take longer than this")
	f.IntVar(&a.each, "each", 400, "how often in a round a short thing is done: an append, a lookup, a page, an answer of -growth")
	only := f.String("only", "", "measure these alone, with commas between: "+strings.Join(names(), ", ")+"; with -growth: "+strings.Join(growingNames(), ", "))
	f.StringVar(&a.file, "json", "", "keep the rows in this `file`, and go on with those that it has")
	f.StringVar(&a.cache, "cache", "", "keep the shops in this `folder` for other runs; to be emptied when the invented shop or a file's form changed")
	f.BoolVar(&a.growth, "growth", false, "measure what each thing costs at several sizes instead")
	sizes := f.String("sizes", "10000,100000,1000000", "the sizes for -growth, in events; 10000000 takes long")
	f.StringVar(&a.profile, "cpuprofile", "", "write into this `file` what the processors did meanwhile")
	f.StringVar(&a.picture, "svg", "", "draw the growth into this `file`")
	if err := f.Parse(args); err != nil {
		return nil, err
	}
	if f.NArg() > 0 {
		return nil, fmt.Errorf("%q is no flag; see -help", f.Arg(0))
	}
	if a.most < 1 || a.each < 1 {
		return nil, errors.New("-rounds and -each must be at least 1")
	}
	var err error
	if a.sizes, err = readSizes(*sizes); err != nil {
		return nil, err
	}
	if *only != "" {
		a.only = strings.Split(*only, ",")
	}
	have := names()
	if a.growth {
		have = growingNames()
	}
	for _, name := range a.only {
		if !slices.Contains(have, name) {
			return nil, fmt.Errorf("-only %s: want some of %s", name, strings.Join(have, ", "))
		}
	}
	return a, nil
}

func names() (list []string) {
	for _, p := range parts() {
		list = append(list, p.name)
	}
	return list
}

func growingNames() (list []string) {
	for _, p := range growing() {
		list = append(list, p.name)
	}
	return list
}

// run measures, and reports whether a figure could not be.
func run(args []string, out, errOut io.Writer) (failed bool, err error) {
	a, err := read(args, errOut)
	if err != nil {
		return false, err
	}
	if a.table, err = openTable(out, a.file); err != nil {
		return false, err
	}
	if a.dir, err = workFolder(a.cache); err != nil {
		return false, err
	}
	defer func() {
		if a.cache == "" {
			err = errors.Join(err, os.RemoveAll(a.dir))
		}
	}()
	if a.profile != "" {
		f, err := os.Create(a.profile)
		if err != nil {
			return false, err
		}
		if err := pprof.StartCPUProfile(f); err != nil {
			return false, err
		}
		defer func() {
			pprof.StopCPUProfile()
			err = errors.Join(err, f.Close())
		}()
	}
	if a.growth {
		return a.measureGrowth()
	}
	return a.measureAll()
}

// workFolder is where all is put: the cache, or a folder that is taken away again.
func workFolder(cache string) (string, error) {
	if cache == "" {
		return os.MkdirTemp("", "figures-")
	}
	full, err := filepath.Abs(cache)
	if err != nil {
		return "", err
	}
	return full, os.MkdirAll(full, 0o700)
}

func (a *asked) measureAll() (failed bool, err error) {
	a.stock = &stock{units: a.units}
	a.table.head()
	for _, p := range parts() {
		if len(a.only) > 0 && !slices.Contains(a.only, p.name) {
			continue
		}
		fmt.Fprintf(a.progress, "%s %s: %s\n", time.Now().Format("15:04:05"), p.name, p.what)
		why := a.attempt(p.work)
		a.table.forget(p.name)
		if why != nil {
			if err := a.table.put(row{Figure: p.name, Failed: why.Error()}); err != nil {
				return true, err
			}
			failed = true
		}
	}
	return failed || a.failed(), nil
}

// failed reports whether a row of the table says that it failed.
func (a *asked) failed() bool {
	return slices.ContainsFunc(a.table.rows, func(r row) bool { return r.Failed != "" })
}

// tell puts figures into the table.
func (t *turn) tell(figures ...*figure) {
	for _, f := range figures {
		t.check(t.table.put(f.row(t.count())))
	}
}

// try measures a figure that may fail without the others.
func (t *turn) try(f *figure, work func(*turn)) {
	if why := t.attempt(work); why != nil {
		t.check(t.table.put(row{Figure: f.name, Events: t.count(), Failed: why.Error()}))
		return
	}
	t.tell(f)
}
