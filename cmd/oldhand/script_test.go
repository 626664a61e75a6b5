package main

import (
	"os"
	"testing"

	"oldhand/cmd/internal/cli"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets the test binary be the program, so that a script runs it as a
// person would.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"oldhand": func() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// Each script is one person's story with the program: see testdata/script.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("OLDHAND_SHOP", env.WorkDir+"/shop")
			env.Setenv("OLDHAND_STATE", env.WorkDir+"/state")
			env.Setenv("HOME", env.WorkDir)
			return nil
		},
	})
}
