package cli

import (
	"errors"
	"fmt"
	"io"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/qr"

	"github.com/spf13/cobra"
)

// picturing is how a join code is drawn besides its letters.
type picturing struct {
	qr, png, svg string
}

// auto is what --qr says alone.
const auto = "auto"

func (e *env) invite() *cobra.Command {
	var as picturing
	c := &cobra.Command{Use: "invite", Short: "make a join code for another bench", Args: args(0, 0, ""),
		Long: "Make a code that lets one other machine in, once, within ten minutes. In a terminal it is\nalso drawn as a QR code, for a camera or a scanner at the other machine; what it reads is\nthe code. --qr draws it elsewhere too: --qr=dark for light letters on a dark ground,\n--qr=light for dark on light. A file with the picture is as good as the code."}
	c.RunE = func(*cobra.Command, []string) error {
		ground, draw, err := e.ground(as.qr)
		if err != nil {
			return err
		}
		return e.read(func(s *app.Shop) error {
			in, err := s.Invite()
			if err != nil {
				return err
			}
			err = e.answer(in, func() {
				e.printf("on the other machine, until %s:\n\n  oldhand join %s --bench NAME\n\n", in.Until, in.Code)
				e.printf("the code lets one bench in, once; whoever has it can use it, so show it to nobody else\n")
				if len(in.Servers) > 0 {
					e.printf("this shop meets on servers too, which must let it in: when it has joined, give who runs them the\nlist anew, oldhand cluster keys, and type there: oldhand cluster meet %s --ca ca.pem\n", in.Servers[0])
				}
			})
			if err != nil || !draw && as.png == "" && as.svg == "" {
				return err
			}
			return e.picture(in.Code, as, ground, draw)
		})
	}
	as.flags(c)
	return c
}

func (p *picturing) flags(c *cobra.Command) {
	c.Flags().StringVar(&p.qr, "qr", "", "also draw the code: auto, dark or light, for the `ground` it is seen on")
	c.Flags().Lookup("qr").NoOptDefVal = auto
	c.Flags().StringVar(&p.png, "png", "", "also draw the code into this `file`")
	c.Flags().StringVar(&p.svg, "svg", "", "also draw the code into this `file`")
}

// ground says whether and for what ground a code is drawn on standard output. A
// terminal that takes colours gets them, for then nobody need know its ground.
func (e *env) ground(wanted string) (on qr.Ground, draw bool, err error) {
	terminal := e.looks.terminal
	switch {
	case wanted != "" && e.json:
		return on, false, &usage{errors.New("--qr draws, which JSON can't; name a file with --png or --svg")}
	case wanted == "dark":
		return qr.OnDark, true, nil
	case wanted == "light":
		return qr.OnLight, true, nil
	case wanted != "" && wanted != auto:
		return on, false, &usage{fmt.Errorf("--qr=%s: there are auto, dark and light", wanted)}
	case terminal && !e.looks.plain:
		return qr.OnColours, !e.json, nil
	}
	return qr.OnDark, !e.json && (terminal || wanted != ""), nil
}

// picture draws a code that was told already: what goes wrong here leaves it as
// good as it was.
func (e *env) picture(code string, as picturing, on qr.Ground, draw bool) error {
	c, err := qr.Make(code)
	if err != nil && as.png == "" && as.svg == "" {
		e.note(err.Error())
		return nil
	}
	if err != nil {
		return err
	}
	if draw {
		fmt.Fprint(e.out, "\n"+c.Text(on))
	}
	var errs []error
	for _, file := range []struct {
		path string
		draw func() ([]byte, error)
	}{{as.png, c.PNG}, {as.svg, func() ([]byte, error) { return c.SVG(), nil }}} {
		if file.path != "" {
			errs = append(errs, e.toFile(file.path, func(w io.Writer) (string, error) {
				b, err := file.draw()
				if err == nil {
					_, err = w.Write(b)
				}
				return "the code's picture", err
			}))
		}
	}
	return errors.Join(errs...)
}
