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
	Duties() *app.Duties
	Lan() *app.Lan
}

// besides is what serve is told to do besides showing pages.
type besides struct {
	host, watch bool
	listen, lan string
}

// flags are its flags. What is not said stays as it was the last time.
func (b *besides) flags(c *cobra.Command) {
	c.Flags().BoolVar(&b.host, "host", false, "let the other benches meet at this one; --host=false ends that")
	c.Flags().StringVar(&b.listen, "listen", "", "the `address` and port for --host, "+app.UsualListen+" if it is not said")
	c.Flags().BoolVar(&b.watch, "watch", false, "stay with the others where they meet; --watch=false ends that")
	c.Flags().StringVar(&b.lan, "lan", "", "show the page to devices that were let in, at this `address` on the local network; off ends that")
	c.Flags().Lookup("lan").NoOptDefVal = "on"
}

// wishes are what was said of hosting and watching.
func (b *besides) wishes(c *cobra.Command) (w app.Wishes) {
	if c.Flags().Changed("host") || b.listen != "" {
		host := b.host || !c.Flags().Changed("host")
		w.Host, w.Listen = &host, b.listen
	}
	if c.Flags().Changed("watch") {
		w.Watch = &b.watch
	}
	return w
}

// served is what serve answers.
type served struct {
	Page   string `json:"page"`
	Start  string `json:"start"` // lets one browser in, once
	Folder string `json:"folder"`
	Again  bool   `json:"again,omitempty"` // it ran already
	Lan    string `json:"lan,omitempty"`   // where other devices find it, if they may
}

// servedBy is what a page that runs answers.
func servedBy(p pageOf, dir string, again bool) served {
	s := served{p.Address(), p.Start(), dir, again, ""}
	if l := p.Lan(); l != nil && l.State().On {
		s.Lan = "https://" + l.State().Address + "/"
	}
	return s
}

func (e *env) serve() *cobra.Command {
	var addr string
	var quiet, tellLog bool
	var also besides
	c := &cobra.Command{Use: "serve", Short: "show the shop as pages in a browser on this machine", Args: args(0, 0, ""),
		Long: "Show the shop as pages in a browser on this machine, until it is stopped. Other commands\ncan be used meanwhile: they work through the page's process. The address that is printed\nlets one browser in, once, within an hour; typed again while the page runs, the command\nprints a fresh one. The page answers on this machine only, and to the devices that you let\nin with oldhand lan. What it is told to do besides, with --host, --watch and --lan or on\nits page, it does again at the next start, until it is told otherwise."}
	c.RunE = func(c *cobra.Command, _ []string) error {
		if e.page != nil {
			if err := also.change(c, e.page); err != nil {
				return err
			}
			return e.tellServed(servedBy(e.page, e.opt.In.Dir, true), quiet)
		}
		dir, err := e.dir()
		if err != nil {
			return err
		}
		ctx, stop := e.untilStopped()
		defer stop()
		return e.servePage(ctx, dir, web.Options{Wishes: also.wishes(c), Lan: also.lan}, addr, quiet, tellLog)
	}
	also.flags(c)
	c.Flags().StringVar(&addr, "addr", "", "the `address` and port, "+usualAddr+" or the next free one if it is not said")
	c.Flags().BoolVar(&quiet, "quiet", false, "do not open a browser")
	c.Flags().BoolVar(&tellLog, "log", false, "tell what the page does on standard error")
	return c
}

// change does in a page that runs what a start would have it do.
func (b *besides) change(c *cobra.Command, p pageOf) error {
	if p.Duties() == nil {
		return nil // there is no shop yet
	}
	if err := p.Duties().Change(b.wishes(c)); err != nil {
		return err
	}
	return web.ChangeLan(p.Lan(), b.lan)
}

// servePage serves until the context ends.
func (e *env) servePage(ctx context.Context, dir string, o web.Options, addr string, quiet, tellLog bool) error {
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
	o.Dir, o.App, o.Log = dir, opt, slog.New(slog.NewTextHandler(e.err, &slog.HandlerOptions{Level: level}))
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
	if err := e.tellServed(servedBy(w, dir, false), quiet); err != nil {
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
		if s.Lan != "" {
			e.printf("devices that were let in find it at %s\n", s.Lan)
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
