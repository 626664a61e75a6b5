package cli

import (
	"errors"
	"fmt"
	"io"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/report"
	"oldhand/events"

	"github.com/spf13/cobra"
)

func (e *env) record() *cobra.Command {
	var o app.Recording
	var out, on string
	c := &cobra.Command{Use: "record UNIT", Short: "the service record of a visit, for the owner: in the terminal, or as a PDF for the box", Args: args(1, 1, "UNIT [--visit N] [--out FILE.pdf]"),
		Long: "Print the service record of a unit's last visit, or of another: what came in, what was found\nand done, readings before and after, the final test, what was left out, warranty and charge,\ncare and cautions. With --out it is a PDF of one sheet or two. Of the customer it has the name\nonly, and the shop's notes are not on it, unless that is asked for.\n\n  oldhand record 10019 --out record.pdf\n  oldhand record 10019 --visit 1 --out record.pdf --paper letter"}
	c.RunE = func(_ *cobra.Command, a []string) error {
		size, err := paper.SizeOf(on)
		switch {
		case err != nil:
			return &usage{fmt.Errorf("--%w", err)}
		case on != "" && out == "":
			return &usage{errors.New("--paper goes with --out FILE.pdf")}
		}
		return e.read(func(s *app.Shop) error {
			r, err := s.ServiceRecord(a[0], o)
			if err != nil {
				return err
			}
			if out == "" {
				return e.answer(r, func() { fmt.Fprint(e.out, r.Text()) }) // it shows control characters as signs
			}
			if err := e.printRecord(&r, out, size); err != nil || !e.json {
				return err
			}
			return e.answer(r, nil)
		})
	}
	f := c.Flags()
	f.IntVar(&o.Visit, "visit", 0, "which of its `visits`, from 1; the last if it is not said")
	f.StringVar(&out, "out", "", "the PDF `file` to write")
	f.StringVar(&on, "paper", "", "a4 or letter; a4 if it is not said")
	f.BoolVar(&o.Contact, "contact", false, "with the customer's phone number, mail address and address")
	f.BoolVar(&o.Notes, "notes", false, "with the notes of the shop")
	return c
}

// printRecord writes the PDF and says what of it is not as it was written down.
func (e *env) printRecord(r *report.Record, out string, size paper.Size) error {
	var done report.Printed
	err := e.toFile(out, func(w io.Writer) (said string, err error) {
		done, err = report.PDF(w, r, size)
		return events.Count(done.Sheets, "sheet"), err
	})
	if err != nil {
		return err
	}
	if done.LeftOut > 0 {
		e.note(fmt.Sprintf("%s did not fit on two sheets; the record says so, and the page has all of it", events.Count(done.LeftOut, "entry", "entries")))
	}
	if done.Lacking != "" {
		e.note(done.Lacking)
	}
	return nil
}
