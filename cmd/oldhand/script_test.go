package main

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"testing"

	"oldhand/cmd/internal/cli"
	"oldhand/events/sharedtest"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets the test binary be the program, so that a script runs it as a
// person would.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"oldhand": func() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// spoil flips bits in the middle of the largest file of a pattern.
func spoil(ts *testscript.TestScript, _ bool, args []string) {
	paths, err := filepath.Glob(ts.MkAbs(args[0]))
	ts.Check(err)
	var largest string
	var data []byte
	for _, p := range paths {
		b, err := os.ReadFile(p)
		ts.Check(err)
		if len(b) > len(data) {
			largest, data = p, b
		}
	}
	if largest == "" {
		ts.Fatalf("%s: no such file", args[0])
	}
	for i := range 64 {
		data[len(data)/2+i] ^= 0x55
	}
	ts.Check(os.WriteFile(largest, data, 0o600))
}

// Each script is one person's story with the program: see testdata/script.
func TestScripts(t *testing.T) {
	cmds := map[string]func(*testscript.TestScript, bool, []string){"spoil": spoil, "scan": scan}
	maps.Copy(cmds, benchCmds)
	maps.Copy(cmds, nameCmds)
	maps.Copy(cmds, pageCmds)
	maps.Copy(cmds, fileCmds)
	maps.Copy(cmds, serverCmds)
	maps.Copy(cmds, newerCmds)
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Cmds:                cmds,
		Condition: func(cond string) (bool, error) {
			if cond == "must" { // nothing may be skipped for want of a program
				return sharedtest.Must(), nil
			}
			return false, fmt.Errorf("no condition %q", cond)
		},
		Setup: func(env *testscript.Env) error {
			env.Setenv("OLDHAND_SHOP", env.WorkDir+"/shop")
			env.Setenv("OLDHAND_STATE", env.WorkDir+"/state")
			env.Setenv("HOME", env.WorkDir)
			env.Values[runningKey{}] = &running{}
			return nil
		},
	})
}
