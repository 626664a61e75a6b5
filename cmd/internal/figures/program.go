package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// programFile is the program as a shop has it: made without cgo, which this command
// is not. There the store's blocks lie in Go's memory and tables are packed by other
// code, so that its memory can't be measured in this process.
func (t *turn) programFile() string {
	file := filepath.Join(t.asked.dir, "oldhand")
	if t.built {
		return file
	}
	t.inRoot("build", "-o", file, "./cmd/oldhand")
	t.asked.built = true
	return file
}

// inRoot runs the go command in the program's module, and gives what it printed.
func (t *turn) inRoot(args ...string) string {
	root := t.goCommand("", "list", "-m", "-f", "{{.Dir}}", "oldhand") // from within one that needs it
	return t.goCommand(strings.TrimSpace(root), args...)
}

func (t *turn) goCommand(dir string, args ...string) string {
	c := exec.Command("go", args...)
	c.Dir = dir
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	var told bytes.Buffer
	c.Stderr = &told
	out, err := c.Output()
	if err != nil {
		t.Fatalf("go %s: %w: %s", strings.Join(args, " "), err, firstLines(told.String()+string(out)))
	}
	return string(out)
}

// firstLines are as much of a text as belongs into a row.
func firstLines(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) > 4 {
		lines = append(lines[:4], fmt.Sprintf("and %d lines more", len(lines)-4))
	}
	return strings.Join(lines, " | ")
}
