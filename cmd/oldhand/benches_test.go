package main

import (
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// benchCmds are what stories of several benches need besides the program.
var benchCmds = map[string]func(*testscript.TestScript, bool, []string){
	"agree":   agree,
	"await":   await,
	"copydir": copyDir,
	"cut":     cut,
	"entry":   entry,
	"field":   field,
	"grow":    grow,
	"mistype": mistype,
	"port":    port,
	"retry":   retry,
	"gather":  gather,
}

// patience is how long a story waits for what another process is about to do.
const patience = 2 * time.Minute

// poll asks until it is so, or the story's patience ends.
func poll(so func() bool) bool {
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if so() {
			return true
		}
	}
	return so()
}

// digests are what the folders hold, events and projections; empty where that
// can't be told.
func digests(ts *testscript.TestScript, shops []string) []string {
	said := make([]string, len(shops))
	for i, shop := range shops {
		if ts.Exec("oldhand", "verify", "--json", "--shop", shop) == nil {
			said[i] = jsonField(ts, ts.ReadFile("stdout"), "digest")
		}
	}
	return said
}

func allEqual(said []string) bool {
	return said[0] != "" && !slices.ContainsFunc(said, func(s string) bool { return s != said[0] })
}

// agree SHOP... wants the folders to hold the same; with a ! not to.
func agree(ts *testscript.TestScript, neg bool, shops []string) {
	if said := digests(ts, shops); allEqual(said) == neg {
		ts.Fatalf("%s hold %q", strings.Join(shops, ", "), said)
	}
}

// gather HOST SHOP... has the benches meet at the host in the order they are
// named, as often as it takes until all hold the same. The host meets its own
// exchange by itself, in its own time.
func gather(ts *testscript.TestScript, _ bool, shops []string) {
	var said []string
	if !poll(func() bool {
		for _, shop := range shops[1:] {
			ts.Check(ts.Exec("oldhand", "sync", "--shop", shop))
		}
		said = digests(ts, shops)
		return allEqual(said)
	}) {
		ts.Fatalf("%s hold %q", strings.Join(shops, ", "), said)
	}
}

// await FILE [REGEXP] waits until a file is there, and matches.
func await(ts *testscript.TestScript, _ bool, args []string) {
	pattern := regexp.MustCompile(strings.Join(args[1:], " "))
	if !poll(func() bool {
		b, err := os.ReadFile(ts.MkAbs(args[0]))
		return err == nil && pattern.Match(b)
	}) {
		ts.Fatalf("%s does not come", strings.Join(args, " "))
	}
}

// copyDir FROM TO makes TO a copy of the folder FROM, whatever was there.
func copyDir(ts *testscript.TestScript, _ bool, args []string) {
	to := ts.MkAbs(args[1])
	ts.Check(os.RemoveAll(to))
	ts.Check(os.CopyFS(to, os.DirFS(ts.MkAbs(args[0]))))
	ts.Check(filepath.WalkDir(to, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			err = os.Chmod(path, 0o700)
		}
		return err
	}))
}

// cut FILE PERCENT takes the end of a file away, so that so much of it is left.
func cut(ts *testscript.TestScript, _ bool, args []string) {
	percent, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	info, err := os.Stat(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Check(os.Truncate(ts.MkAbs(args[0]), info.Size()*percent/100))
}

// entry VAR REGEXP reads the id of the line that matches from what
// oldhand past --ids printed.
func entry(ts *testscript.TestScript, _ bool, args []string) {
	pattern := regexp.MustCompile(args[1])
	for line := range strings.Lines(ts.ReadFile("stdout")) {
		if pattern.MatchString(line) {
			ts.Setenv(args[0], strings.Fields(line)[0])
			return
		}
	}
	ts.Fatalf("no line matches %s", args[1])
}

// field VAR NAME [FILE] reads a field of a JSON file, or of what the last command
// printed.
func field(ts *testscript.TestScript, _ bool, args []string) {
	file := "stdout"
	if len(args) > 2 {
		file = args[2]
	}
	ts.Setenv(args[0], jsonField(ts, ts.ReadFile(file), args[1]))
}

func jsonField(ts *testscript.TestScript, text, name string) string {
	var fields map[string]any
	ts.Check(json.Unmarshal([]byte(text), &fields))
	s, ok := fields[name].(string)
	if !ok {
		ts.Fatalf("no text %s in %s", name, text)
	}
	return s
}

// mistype VAR CODE GROUP makes a code with one wrong character in a group.
func mistype(ts *testscript.TestScript, _ bool, args []string) {
	group, err := strconv.Atoi(args[2])
	ts.Check(err)
	groups := strings.Split(args[1], "-")
	wrong := "2"
	if strings.HasPrefix(groups[group-1], wrong) {
		wrong = "3"
	}
	groups[group-1] = wrong + groups[group-1][1:]
	ts.Setenv(args[0], strings.Join(groups, "-"))
}

// grow SHOP N writes N notes on the first unit, long enough to fill a file.
func grow(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	for i := range n {
		ts.Check(ts.Exec("oldhand", "note", "10019", fmt.Sprintf("note %d %s", i, strings.Repeat(rand.Text(), 60)), "--shop", args[0]))
	}
}

// port VAR finds a port of this machine that is free now.
func port(ts *testscript.TestScript, _ bool, args []string) {
	ts.Setenv(args[0], freePort(ts.Fatalf))
}

func freePort(fatalf func(string, ...any)) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		fatalf("find a free port: %v", err)
	}
	defer l.Close()
	_, p, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		fatalf("find a free port: %v", err)
	}
	return p
}

// retry COMMAND... runs a command until it ends well: another process is about to
// let it.
func retry(ts *testscript.TestScript, _ bool, args []string) {
	if !poll(func() bool { return ts.Exec(args[0], args[1:]...) == nil }) {
		ts.Fatalf("%s does not end well", strings.Join(args, " "))
	}
}
