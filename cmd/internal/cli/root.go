// Package cli is the command line: one file for each group of commands, each
// of which reads its flags, calls one method of package app, and tells what
// came of it.
//
// Rules of this package. Answers go to standard output; everything else, errors
// and progress too, to standard error. What --json prints is what package app
// returned, nothing more. Words are plain, without capitals at the start of an
// error or a full stop at its end. Exit codes are in tell.go and in the help.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events/eventlog"
	"oldhand/sync/nearby"

	"github.com/spf13/cobra"
)

// env is what a command has: where it reads and writes, and the flags that all
// commands share.
type env struct {
	in       io.Reader
	out, err io.Writer
	shop     string
	json     bool
	at, by   string
	opt      app.Options // zero but in tests

	typed []string        // the command line
	ctx   context.Context // ends when the person stops the command
	from  string          // the folder that was typed in; empty for this process's
	looks looks
	page  pageOf // of the process that serves the folder; nil elsewhere
}

// looks is what is known of where the answer is shown.
type looks struct{ terminal, plain bool }

func looksOf(out io.Writer) looks {
	f, ok := out.(*os.File)
	return looks{ok && isTerminal(f) && !isNull(f) && os.Getenv("TERM") != "dumb", os.Getenv("NO_COLOR") != ""}
}

// isNull reports whether what is printed is thrown away.
func isNull(f *os.File) bool {
	a, errA := f.Stat()
	b, errB := os.Stat(os.DevNull)
	return errA == nil && errB == nil && os.SameFile(a, b)
}

// Main runs a command line and gives the exit code.
func Main(args []string, in io.Reader, out, errOut io.Writer) int {
	return Run(args, in, out, errOut, app.Options{Wait: 10 * time.Second, Ballast: true, Around: nearby.Look})
}

// Run is Main with options for the folder.
func Run(args []string, in io.Reader, out, errOut io.Writer, opt app.Options) int {
	e := &env{in: in, out: out, err: errOut, opt: opt, ctx: context.Background(), looks: looksOf(out)}
	return e.run(args)
}

func (e *env) run(args []string) int {
	e.opt.Warn = func(text string) { e.note(text) }
	root := e.root()
	root.SetArgs(args)
	root.SetIn(e.in)
	root.SetOut(e.out)
	root.SetErr(e.err)
	root.PersistentPreRunE = e.pass(args)
	return e.tell(root.ExecuteContext(e.ctx))
}

const longHelp = `oldhand remembers every set that crosses a repair shop's benches: what came in,
what was wrong, what was done, what was measured, and when it went out.

  oldhand new "Lantern Street Radio" --bench front
  oldhand receive --maker Ostrel --model R-950 --serial E17-17750 --complaint "hums"
  oldhand diagnose 10019 "filter caps leaky"
  oldhand replace 10019 C1 "50-30-30 MFD 450V"
  oldhand measure 10019 AM "95 mV" --as-left
  oldhand ship 10019 --outcome repaired --warranty 90
  oldhand past 10019

A unit is named by its tag, its serial or a piece of the serial that no other
unit has. The shop's folder is --shop, else $OLDHAND_SHOP, else the platform's
place for data.

Exit codes: 0 done; 1 something went wrong; 2 the command line can't be read;
3 no such unit, or several; 4 not saved; 5 damage was found.`

func (e *env) root() *cobra.Command {
	root := &cobra.Command{
		Use: "oldhand", Short: "the memory of a repair shop", Long: longHelp, Version: app.Software,
		SilenceUsage: true, SilenceErrors: true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.PersistentFlags().StringVar(&e.shop, "shop", "", "the shop's `folder`")
	root.PersistentFlags().BoolVar(&e.json, "json", false, "print the answer as JSON")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		return &usage{fmt.Errorf("%w (words that begin with a dash go behind --)", err)}
	})
	root.AddGroup(&cobra.Group{ID: "bench", Title: "At the bench:"}, &cobra.Group{ID: "ask", Title: "Looking up:"}, &cobra.Group{ID: "sync", Title: "Several benches:"}, &cobra.Group{ID: "keep", Title: "Keeping the shop's memory:"})
	e.addBench(root)
	e.addAsk(root)
	e.addSync(root)
	e.addKeep(root)
	group(root, "ask", e.readCmd(), e.serve())
	return root
}

// path is a file that was typed, seen from the folder it was typed in.
func (e *env) path(typed string) string {
	if e.from == "" || typed == "" || filepath.IsAbs(typed) {
		return typed
	}
	return filepath.Join(e.from, typed)
}

// group puts commands into a group of the help.
func group(root *cobra.Command, id string, cmds ...*cobra.Command) {
	for _, c := range cmds {
		c.GroupID = id
		root.AddCommand(c)
	}
}

// dir is the shop's folder.
func (e *env) dir() (string, error) {
	if e.shop != "" {
		return e.shop, nil
	}
	return app.DefaultDir()
}

// read opens the folder for looking and closes it after fn.
func (e *env) read(fn func(*app.Shop) error) error { return e.open(true, fn) }

// write opens the folder for an action and closes it after fn.
func (e *env) write(fn func(*app.Shop) error) error { return e.open(false, fn) }

func (e *env) open(readOnly bool, fn func(*app.Shop) error) error {
	dir, err := e.dir()
	if err != nil {
		return err
	}
	o := e.opt
	o.ReadOnly = readOnly
	s, err := app.Open(dir, o)
	if errors.Is(err, app.ErrStale) {
		// Made by another version, or broken off: making it anew takes writing.
		e.note("what follows from the events is made anew; this happens once")
		o.ReadOnly = false
		s, err = app.Open(dir, o)
	}
	if errors.Is(err, eventlog.ErrInUse) {
		return e.late(dir, err)
	}
	if err != nil {
		return err
	}
	if lost := s.Log.Found().LostTail; lost != nil {
		e.note(lost.String())
	}
	return errors.Join(fn(s), s.Close())
}

// who reads --at and --by.
func (e *env) who() (app.Who, error) {
	at, err := app.ParseAt(e.at)
	return app.Who{At: at, By: e.by}, err
}

// writes gives a command the flags of an action.
func (e *env) writes(c *cobra.Command) *cobra.Command {
	c.Flags().StringVar(&e.at, "at", "", "when it was so: a `day` like 2026-11-25, or an instant like 2026-11-25T14:30")
	c.Flags().StringVar(&e.by, "by", "", "the `technician`, by the shop's own short name")
	return c
}

// args checks how many words a command takes, and says what they are.
func args(least, most int, what string) cobra.PositionalArgs {
	return func(c *cobra.Command, given []string) error {
		if len(given) < least || most >= 0 && len(given) > most {
			return &usage{errors.New("want: " + c.CommandPath() + " " + what)}
		}
		return nil
	}
}
