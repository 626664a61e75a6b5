package cli

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"os/exec"
	"runtime"
	"syscall"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/relay"
	"oldhand/cmd/internal/web"

	"github.com/spf13/cobra"
)

// usualAddr is where the page is, unless something else has the port.
const usualAddr = "127.0.0.1:4750"

// pageOf is the page of the process that a command runs in.
type pageOf interface {
	Address() string
	Start() string
	Check()
}

// served is what serve answers.
type served struct {
	Page   string `json:"page"`
	Start  string `json:"start"` // lets one browser in, once
	Folder string `json:"folder"`
	Again  bool   `json:"again,omitempty"` // it ran already
}

func (e *env) serve() *cobra.Command {
	var addr string
	var quiet, tellLog bool
	c := &cobra.Command{Use: "serve", Short: "show the shop as pages in a browser on this machine", Args: args(0, 0, ""),
		Long: "Show the shop as pages in a browser on this machine, until it is stopped. Other commands\ncan be used meanwhile: they work through the page's process. The address that is printed\nlets one browser in, once, within an hour; typed again while the page runs, the command\nprints a fresh one. The page answers on this machine only."}
	c.RunE = func(*cobra.Command, []string) error {
		if e.page != nil {
			return e.tellServed(served{e.page.Address(), e.page.Start(), e.opt.In.Dir, true}, quiet)
		}
		dir, err := e.dir()
		if err != nil {
			return err
		}
		ctx, stop := e.untilStopped()
		defer stop()
		return e.servePage(ctx, dir, addr, quiet, tellLog)
	}
	c.Flags().StringVar(&addr, "addr", "", "the `address` and port, "+usualAddr+" or the next free one if it is not said")
	c.Flags().BoolVar(&quiet, "quiet", false, "do not open a browser")
	c.Flags().BoolVar(&tellLog, "log", false, "tell what the page does on standard error")
	return c
}

// servePage serves until the context ends.
func (e *env) servePage(ctx context.Context, dir, addr string, quiet, tellLog bool) error {
	if app.HostsNow(dir) {
		return &app.NotHere{Unit: "the folder", Why: "is hosted from by oldhand host; stop that, start the page, and then host again: it works through the page"}
	}
	opt := e.opt
	opt.Stop = nil // what a command is stopped by is its own
	var w *web.Server
	var commands *relay.Server
	level := slog.LevelError
	if tellLog {
		level = slog.LevelInfo
	}
	o := web.Options{Dir: dir, App: opt, Log: slog.New(slog.NewTextHandler(e.err, &slog.HandlerOptions{Level: level}))}
	o.Opened = func(s *app.Shop) (err error) {
		commands, err = relay.Serve(dir, w.Address(), here(s, opt, w))
		return err
	}
	w, err := web.New(o)
	if err != nil {
		return err
	}
	defer func() {
		if commands != nil {
			_ = commands.Close()
		}
	}()
	if err := e.listen(w, addr); err != nil {
		return errors.Join(err, w.Close())
	}
	if err := w.Begin(); err != nil {
		if late := e.late(dir, err); late != err { // another page of the folder came first
			return errors.Join(late, w.Close())
		}
		return errors.Join(err, w.Close())
	}
	if err := e.tellServed(served{w.Address(), w.Start(), dir, false}, quiet); err != nil {
		return errors.Join(err, w.Close())
	}
	err = w.Run(ctx)
	if commands != nil {
		err = errors.Join(err, commands.Close())
		commands = nil
	}
	return errors.Join(err, w.Close())
}

// listen takes the address that was typed, or the usual one, or any that is free.
func (e *env) listen(w *web.Server, addr string) error {
	if addr != "" {
		return w.Listen(addr)
	}
	err := w.Listen(usualAddr)
	if errors.Is(err, syscall.EADDRINUSE) {
		err = w.Listen("127.0.0.1:0")
	}
	return err
}

func (e *env) tellServed(s served, quiet bool) error {
	opened := !quiet && openBrowser(s.Start)
	return e.answer(s, func() {
		switch {
		case s.Again:
			e.printf("the page of %s runs already\n", s.Folder)
		default:
			e.printf("the page runs; stop it with Ctrl-C\n")
		}
		e.printf("  %s\n", s.Start)
		if opened {
			e.printf("it opens in a browser; the address works once\n")
		} else {
			e.printf("open that address in a browser; it works once, within an hour\n")
		}
	})
}

// openBrowser asks the desktop to open an address. It reports whether there was
// a desktop to ask.
func openBrowser(address string) bool {
	var name string
	var before []string
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, before = "rundll32", []string{"url.dll,FileProtocolHandler"}
	default:
		if os.Getenv("DISPLAY") == "" && os.Getenv("WAYLAND_DISPLAY") == "" {
			return false
		}
		name = "xdg-open"
	}
	c := exec.Command(name, append(before, address)...)
	if c.Start() != nil {
		return false
	}
	go func() { _ = c.Wait() }() // whether it opened is seen by the person
	return true
}
