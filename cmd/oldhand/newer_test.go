package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// newerCmds make the program as it may be one day.
var newerCmds = map[string]func(*testscript.TestScript, bool, []string){"newer": newer}

// newerFiles are added to the program, by their place in it.
var newerFiles = map[string]string{
	"events/newer.go":           "events.txt",
	"cmd/internal/app/newer.go": "app.txt",
	"cmd/internal/cli/newer.go": "cli.txt",
}

// newerLines are changed in it.
var newerLines = map[string][2]string{
	"cmd/internal/app/folder.go": {`const Software = "oldhand 1"`, `const Software = "oldhand 2"`},
	"cmd/internal/cli/root.go":   {"	e.addAsk(root)\n", "	e.addAsk(root)\n	e.addNewer(root)\n"},
}

// newer FILE builds this program with what testdata/newer adds: two kinds of event, a
// command for each, and a later version of the whole. Nothing of the source is touched.
func newer(ts *testscript.TestScript, _ bool, args []string) {
	here, err := os.Getwd()
	ts.Check(err)
	root, laid := filepath.Join(here, "..", ".."), map[string]string{}
	for at, file := range newerFiles {
		laid[filepath.Join(root, at)] = filepath.Join(here, "testdata", "newer", file)
	}
	dir := ts.MkAbs("newer-source")
	ts.Check(os.Mkdir(dir, 0o700))
	for at, change := range newerLines {
		b, err := os.ReadFile(filepath.Join(root, at))
		ts.Check(err)
		if strings.Count(string(b), change[0]) != 1 {
			ts.Fatalf("%s has not once %q", at, change[0])
		}
		changed := filepath.Join(dir, filepath.Base(at))
		ts.Check(os.WriteFile(changed, []byte(strings.Replace(string(b), change[0], change[1], 1)), 0o600))
		laid[filepath.Join(root, at)] = changed
	}
	b, err := json.Marshal(map[string]any{"Replace": laid})
	ts.Check(err)
	overlay := filepath.Join(dir, "overlay.json")
	ts.Check(os.WriteFile(overlay, b, 0o600))
	build := exec.Command("go", "build", "-overlay", overlay, "-o", ts.MkAbs(args[0]), ".")
	build.Dir = here
	if said, err := build.CombinedOutput(); err != nil {
		ts.Fatalf("build the newer program: %v: %s", err, said)
	}
}
