package cli

import (
	"errors"
	"fmt"
	"io"
	"os"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/sheettext"
	"oldhand/events"

	"github.com/spf13/cobra"
)

// sheet is the shop's test sheets.
func (e *env) sheet() *cobra.Command {
	c := &cobra.Command{Use: "sheet", Short: "the test sheets: which checks a set has to pass", Args: args(0, 0, ""),
		Long: `The test sheets. A sheet is for a kind of set, or for a maker and model; a unit gets that of
its model, else that of its kind of set. Sheets for the usual kinds come with the program:

  oldhand sheet list
  oldhand sheet take "intercom master"           # makes it the shop's
  oldhand sheet show "intercom master" > m.toml  # to edit
  oldhand sheet define m.toml                    # stands in the place of the one before
  oldhand test 10019                             # walks it`,
		RunE: func(*cobra.Command, []string) error { return e.read(e.tellSheets) }}
	list := &cobra.Command{Use: "list", Short: "list them", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error { return e.read(e.tellSheets) }}
	c.AddCommand(list, e.sheetShow(), e.sheetDefine(), e.sheetTake())
	return c
}

func (e *env) tellSheets(s *app.Shop) error {
	list, err := s.Sheets()
	if err != nil {
		return err
	}
	return e.answer(list, func() {
		rows := [][]string{{"sheet", "for", "checks", ""}}
		for _, o := range list {
			from := "comes with the program; take it to use it"
			if o.Own {
				from = "defined " + o.Day
				if o.By != "" {
					from += " by " + o.By
				}
			}
			rows = append(rows, []string{o.Sheet.Name, o.For, fmt.Sprint(len(o.Sheet.Checks)), from})
		}
		for _, line := range columns(rows) {
			e.printf("%s\n", line)
		}
	})
}

func (e *env) sheetShow() *cobra.Command {
	return &cobra.Command{Use: "show NAME", Short: "print one as text, to edit", Args: args(1, 1, "NAME"), RunE: func(_ *cobra.Command, a []string) error {
		return e.read(func(s *app.Shop) error {
			o, err := s.SheetNamed(a[0])
			if err != nil {
				return err
			}
			return e.answer(o, func() { fmt.Fprint(e.out, sheettext.Write(o.Sheet)) }) // signs that move a terminal are escaped in it
		})
	}}
}

func (e *env) sheetDefine() *cobra.Command {
	c := e.writes(&cobra.Command{Use: "define FILE", Short: "define one from text, in the place of the one of its name", Args: args(1, 1, "FILE"),
		Long: "Define a sheet from a file as `oldhand sheet show` prints one; - reads what is typed. One of the\nsame name for the same kind of set or model stands in the place of the one before; tests that\nfollowed that one go on saying so."})
	c.RunE = func(_ *cobra.Command, a []string) error {
		text, err := e.textOf(a[0])
		if err != nil {
			return err
		}
		b, err := sheettext.Read(text)
		if err != nil {
			return &app.Wrong{What: a[0], Why: err.Error()}
		}
		return e.saveSheet(func(s *app.Shop, w app.Who) (app.Saved, error) { return s.DefineSheet(b, w) })
	}
	return c
}

// mostSheet is larger than any sheet of MaxList checks that a person writes.
const mostSheet = 1 << 20

// textOf reads a file, or what is typed.
func (e *env) textOf(path string) (string, error) {
	in := e.in
	if path != "-" {
		f, err := os.Open(e.path(path))
		if err != nil {
			return "", err
		}
		defer f.Close()
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, mostSheet+1))
	if err == nil && len(b) > mostSheet {
		err = fmt.Errorf("%s: longer than a sheet can be", path)
	}
	return string(b), err
}

func (e *env) saveSheet(do func(*app.Shop, app.Who) (app.Saved, error)) error {
	w, err := e.who()
	if err != nil {
		return err
	}
	return e.write(func(s *app.Shop) error {
		saved, err := do(s, w)
		if err != nil {
			return err
		}
		return e.saved(saved)
	})
}

func (e *env) sheetTake() *cobra.Command {
	var all bool
	c := e.writes(&cobra.Command{Use: "take [NAME]", Short: "make one that comes with the program the shop's", Args: args(0, 1, "NAME, or --all")})
	c.RunE = func(_ *cobra.Command, a []string) error {
		switch {
		case all == (len(a) == 1):
			return &usage{errors.New("want: oldhand sheet take NAME, or --all")}
		case !all:
			return e.saveSheet(func(s *app.Shop, w app.Who) (app.Saved, error) { return s.TakeSheet(a[0], w) })
		}
		return e.saveSheet(takeAll)
	}
	c.Flags().BoolVar(&all, "all", false, "all that the shop has none like")
	return c
}

func takeAll(s *app.Shop, w app.Who) (all app.Saved, err error) {
	list, err := s.Sheets()
	if err != nil {
		return all, err
	}
	for _, o := range list {
		if o.Own {
			continue
		}
		saved, err := s.TakeSheet(o.Sheet.Name, w)
		if err != nil {
			return all, err
		}
		all.Events = append(all.Events, saved.Events...)
	}
	if len(all.Events) == 0 {
		all.Events, err = []app.SavedEvent{}, &app.NotHere{Unit: "the shop", Why: "has each of them already"}
	}
	return all, err
}

// verdictOf is a verdict as it is typed.
func verdictOf(text string) string {
	if text == "unfinished" {
		return events.NotFinished
	}
	return text
}
