package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/relay"

	"github.com/spf13/cobra"
)

// A folder is open in one process only. While the page is served that is the
// page's, and every command that is about its folder runs there: see package
// relay. A command that must run in its own process says so with ownProcess.

// ownProcess marks a command that never runs in the process of the page, and
// says why.
func ownProcess(c *cobra.Command, why string) *cobra.Command {
	c.Annotations = map[string]string{"own process": why}
	return c
}

// elsewhere is returned when a command ran in another process, which has told
// what came of it.
type elsewhere struct{ exit int }

func (e *elsewhere) Error() string { return fmt.Sprintf("exit code %d", e.exit) }

// pass has a command run where its folder is served, if it is.
func (e *env) pass(args []string) func(*cobra.Command, []string) error {
	return func(c *cobra.Command, _ []string) error {
		if e.opt.In != nil { // this is there
			e.shop = e.opt.In.Dir
			return nil
		}
		e.typed = args
		if c.Annotations["own process"] != "" {
			return nil
		}
		dir, err := e.dir()
		if err != nil {
			return err
		}
		e.opt.Kept = func() bool { return relay.Served(dir) }
		return e.askThere(dir)
	}
}

// askThere has the command run where the folder is served; nil where it is not.
func (e *env) askThere(dir string) error {
	from, err := os.Getwd()
	if err != nil {
		return err
	}
	call := relay.Call{Args: e.typed, From: from, Terminal: e.looks.terminal, Plain: e.looks.plain}
	exit, asked, err := relay.Ask(dir, call, e.in, e.out, e.err)
	switch {
	case err != nil:
		return err
	case asked:
		return &elsewhere{exit}
	}
	return nil
}

// late is for a folder that was found in use: the page may have taken it just
// then.
func (e *env) late(dir string, inUse error) error {
	if err := e.askThere(dir); err != nil {
		return err
	}
	return inUse
}

// here runs commands of others in this process, on the shop that it has open.
func here(shop *app.Shop, opt app.Options, page pageOf) relay.Run {
	return func(ctx context.Context, c relay.Call, in io.Reader, out, errOut io.Writer) int {
		o := opt
		o.In, o.Stop = shop, ctx.Done()
		e := &env{in: in, out: out, err: errOut, opt: o, ctx: ctx, from: c.From, looks: looks{c.Terminal, c.Plain}, page: page}
		defer page.Check()
		return e.run(c.Args)
	}
}

// ran is the exit code of a command that ran in another process.
func ran(err error) (exit int, ok bool) {
	var there *elsewhere
	if !errors.As(err, &there) {
		return 0, false
	}
	return there.exit, true
}
