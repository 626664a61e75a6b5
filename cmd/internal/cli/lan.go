package cli

import (
	"oldhand/cmd/internal/app"

	"github.com/spf13/cobra"
)

// lan is who may use the page from other devices.
func (e *env) lan() *cobra.Command {
	c := &cobra.Command{Use: "lan", Short: "who may use the page from a phone or tablet on the local network", Args: args(0, 0, ""),
		Long: "The page answers on this machine only, unless it is turned on for the local network: then\nalso to devices that are let in, each with a code of its own that is good once, within an\nhour. It is sealed on its way (TLS); the certificate is this folder's own.",
		RunE: func(*cobra.Command, []string) error { return e.withLan(e.tellLan) }}
	c.AddCommand(e.lanOn(), e.lanOff(), e.lanLet(), e.lanAgain(), e.lanEnd())
	return c
}

// withLan gives what the page that runs has open, or the folder's.
func (e *env) withLan(fn func(*app.Lan) error) error {
	if e.page != nil && e.page.Lan() != nil {
		return fn(e.page.Lan())
	}
	return e.read(func(s *app.Shop) error {
		l, err := app.OpenLan(s.Dir, e.opt.Now)
		if err != nil {
			return err
		}
		return fn(l)
	})
}

func (e *env) tellLan(l *app.Lan) error {
	st := l.State()
	return e.answer(st, func() {
		switch {
		case st.On:
			e.printf("the page is shown on the local network, at https://%s/, while oldhand serve runs\n", st.Address)
		default:
			e.printf("the page is shown on this machine only; show it on the local network: oldhand lan on\n")
		}
		rows := [][]string{{"device", "may", ""}}
		for _, d := range st.Devices {
			rows = append(rows, []string{d.Name, d.Rights, d.Says})
		}
		if len(st.Devices) == 0 {
			e.printf("no device is let in; let one in: oldhand lan let NAME\n")
			return
		}
		for _, line := range columns(rows) {
			e.printf("%s\n", line)
		}
	})
}

func (e *env) lanOn() *cobra.Command {
	var names []string
	c := &cobra.Command{Use: "on [ADDRESS]", Short: "show the page on the local network, to devices that are let in", Args: args(0, 1, "[ADDRESS]"),
		Long: "Show the page on the local network at one of this machine's own addresses there, such as\n192.168.1.20 or 192.168.1.20:4751; without one at the first it has. --name adds names that\nthe network has for this machine."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		return e.withLan(func(l *app.Lan) error {
			at := firstOf(append(append([]string{}, a...), l.State().Address), app.LanAddresses()...)
			if at == "" {
				return &app.NotHere{Unit: "the page", Why: "can't be shown to other devices: this machine is in no private network"}
			}
			if err := l.On(at, names); err != nil {
				return err
			}
			return e.tellLan(l)
		})
	}
	c.Flags().StringArrayVar(&names, "name", nil, "a `name` that the page answers to besides its address")
	return c
}

// firstOf is the first text that says something.
func firstOf(list []string, more ...string) string {
	for _, s := range append(list, more...) {
		if s != "" {
			return s
		}
	}
	return ""
}

func (e *env) lanOff() *cobra.Command {
	return &cobra.Command{Use: "off", Short: "show the page on this machine only", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error {
		return e.withLan(func(l *app.Lan) error {
			if err := l.Off(); err != nil {
				return err
			}
			return e.tellLan(l)
		})
	}}
}

func (e *env) lanLet() *cobra.Command {
	var write, customers bool
	var as picturing
	c := &cobra.Command{Use: "let NAME", Short: "let a device in, by a code that is shown once", Args: args(1, 1, "NAME [--write]"),
		Long: "Let a device in. It may look only and is not shown what customers are called, unless\n--customers is said; with --write it may do what the bench does, and sees them."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		return e.codeFor(as, func(l *app.Lan) (app.DeviceCode, error) { return l.Let(a[0], write, customers) })
	}
	c.Flags().BoolVar(&write, "write", false, "it may write too")
	c.Flags().BoolVar(&customers, "customers", false, "it sees what customers are called")
	as.flags(c)
	return c
}

func (e *env) lanAgain() *cobra.Command {
	var as picturing
	c := &cobra.Command{Use: "again NAME", Short: "give a device a fresh code, and end what it has open", Args: args(1, 1, "NAME"), RunE: func(_ *cobra.Command, a []string) error {
		return e.codeFor(as, func(l *app.Lan) (app.DeviceCode, error) { return l.Again(a[0]) })
	}}
	as.flags(c)
	return c
}

// codeFor makes a device's code and shows it, the only time.
func (e *env) codeFor(as picturing, make func(*app.Lan) (app.DeviceCode, error)) error {
	ground, draw, err := e.ground(as.qr)
	if err != nil {
		return err
	}
	return e.withLan(func(l *app.Lan) error {
		code, err := make(l)
		if err != nil {
			return err
		}
		err = e.answer(code, func() {
			e.printf("on %s, once, until %s:\n\n  %s\n\n", code.Name, code.Until, code.Address)
			e.printf("it %s; whoever has the address can come in with it, so show it to nobody else\n", code.Rights)
		})
		if err != nil || !draw && as.png == "" && as.svg == "" {
			return err
		}
		return e.picture(code.Address, as, ground, draw)
	})
}

func (e *env) lanEnd() *cobra.Command {
	return &cobra.Command{Use: "end NAME", Short: "take a device's rights away, at once", Args: args(1, 1, "NAME"), RunE: func(_ *cobra.Command, a []string) error {
		return e.withLan(func(l *app.Lan) error {
			if err := l.End(a[0]); err != nil {
				return err
			}
			return e.tellLan(l)
		})
	}}
}
