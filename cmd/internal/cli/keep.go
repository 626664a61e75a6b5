package cli

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/jobbook"
	"oldhand/cmd/internal/shown"
	"oldhand/events"
	"oldhand/events/wholefile"

	"github.com/spf13/cobra"
)

func (e *env) addKeep(root *cobra.Command) {
	group(root, "keep", e.newShop(), e.words(), e.word(), e.day(), e.importCmd(), e.export(), e.verify(), e.doctor(), e.rebuild(), e.backup(), e.demo())
}

func (e *env) newShop() *cobra.Command {
	var bench string
	c := &cobra.Command{Use: "new NAME", Short: "found a shop and its first bench", Args: args(1, 1, "NAME --bench NAME")}
	c.RunE = func(_ *cobra.Command, a []string) error {
		if bench == "" {
			return &usage{errors.New("name the bench with --bench, such as --bench front")}
		}
		dir, err := e.dir()
		if err != nil {
			return err
		}
		s, err := app.Found(dir, a[0], bench, e.opt)
		if err != nil {
			return err
		}
		card := s.Card
		if err := s.Close(); err != nil {
			return err
		}
		answer := struct {
			Folder string `json:"folder"`
			app.Card
		}{dir, card}
		return e.answer(answer, func() {
			e.printf("%s is founded in %s; this bench is %q\n", card.Name, dir, card.Bench)
			e.printf("keep a copy of %s in another place: it is the owner's key, and nothing can replace it\n", dir+"/keys/owner.key")
			e.printf("next: oldhand receive --maker M --model M --serial S --complaint \"...\"\n")
			e.printf("or read an old job book in: oldhand import BOOK.csv --dry-run\n")
		})
	}
	c.Flags().StringVar(&bench, "bench", "", "the `name` of this bench")
	return c
}

func (e *env) words() *cobra.Command {
	return &cobra.Command{Use: "words [TABLE]", Short: "the words of the tables: components, failure modes, work, kinds of set, outcomes", Args: args(0, -1, "[TABLE]"), RunE: func(_ *cobra.Command, a []string) error {
		table := strings.Join(a, " ")
		return e.read(func(s *app.Shop) error {
			list, err := s.Words()
			if err != nil {
				return err
			}
			list = slices.DeleteFunc(list, func(w app.Word) bool { return table != "" && w.Table != table })
			return e.answer(list, func() {
				rows := [][]string{{"table", "word", "name", "added"}}
				for _, w := range list {
					rows = append(rows, []string{w.Table, w.ID, w.Name, strings.Join(strings.Fields(w.Added+" "+w.By+" "+w.Bench), " ")})
				}
				for _, line := range columns(rows) {
					e.printf("%s\n", line)
				}
			})
		})
	}}
}

func (e *env) word() *cobra.Command {
	return e.act("word TABLE NAME", "add a word to a table", 2, 2, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.AddWord(a[0], a[1], w)
	})
}

func (e *env) day() *cobra.Command {
	var b events.ShopDay
	var closed bool
	c := e.act("day DAY", "say that the shop is closed on a day, or works on it", 1, 1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		if closed == b.Open {
			return app.Saved{}, &usage{errors.New("say --closed or --open")}
		}
		return s.ShopDay(a[0], b, w)
	})
	c.Flags().BoolVar(&closed, "closed", false, "the shop is closed")
	c.Flags().BoolVar(&b.Open, "open", false, "the shop works")
	c.Flags().StringVar(&b.Why, "why", "", "the reason")
	return c
}

func (e *env) importCmd() *cobra.Command {
	var in importing
	c := &cobra.Command{Use: "import FILE", Short: "read an old job book, open repair data, or an export in", Args: args(1, 1, "FILE"),
		Long: "Read a file in: an old job book (CSV or a workbook, .xlsx), repair data in the Open Repair Data Standard\n(--format ords), or an export of this program. A book's columns, dates and amounts are\nread by a mapping that is shown, kept beside the file, and taken with --map if it is edited.\nWhat is here already is not taken again."}
	c.Flags().StringVar(&e.by, "by", "", "the `technician`, where the book names none")
	c.RunE = func(_ *cobra.Command, a []string) error {
		in.path, in.mapping = e.path(a[0]), e.path(in.mapping)
		return e.runImport(in)
	}
	f := c.Flags()
	f.StringVar(&in.mapping, "map", "", "the `file` that says which column is what")
	f.StringVar(&in.sheet, "sheet", "", "the sheet of a workbook, where several could be meant")
	f.StringVar(&in.format, "format", "", "ords for the Open Repair Data Standard; otherwise the file tells")
	f.BoolVar(&in.dry, "dry-run", false, "do all but write")
	return c
}

type importing struct {
	path, mapping, sheet, format string
	dry                          bool
}

func (e *env) runImport(in importing) error {
	if isExport, err := peekExport(in.path); err != nil {
		return err
	} else if isExport {
		return e.importExport(in)
	}
	data, err := os.ReadFile(in.path)
	if err != nil {
		return err
	}
	o := app.ImportOptions{DryRun: in.dry, By: e.by}
	return e.write(func(s *app.Shop) error {
		var res app.Imported
		switch in.format {
		case "ords":
			res, err = e.importORDS(s, data, o)
		case "":
			res, err = e.importBook(s, data, in, o)
		default:
			err = &usage{fmt.Errorf("--format %s: there is only ords", in.format)}
		}
		if err != nil {
			return err
		}
		return e.answer(res, func() { e.tellImported(res) })
	})
}

func (e *env) importORDS(s *app.Shop, data []byte, o app.ImportOptions) (app.Imported, error) {
	b, err := jobbook.OpenORDS(data)
	if err != nil {
		return app.Imported{}, err
	}
	return e.importing(bytes.Count(data, []byte("\n")), o, func(o app.ImportOptions) (app.Imported, error) { return s.ImportORDS(data, b, o) })
}

func (e *env) importBook(s *app.Shop, data []byte, in importing, o app.ImportOptions) (app.Imported, error) {
	opt := jobbook.Options{AsOf: jobbook.DayOf(e.now())}
	if in.mapping != "" {
		f, err := os.Open(in.mapping)
		if err != nil {
			return app.Imported{}, err
		}
		opt.Mapping, err = jobbook.ReadMapping(f)
		if err = errors.Join(err, f.Close()); err != nil {
			return app.Imported{}, fmt.Errorf("%s: %w", in.mapping, err)
		}
	}
	opt.Mapping.Sheet = cmp.Or(in.sheet, opt.Mapping.Sheet)
	f, err := jobbook.Load(data)
	if err != nil {
		return app.Imported{}, fmt.Errorf("%s: %w", in.path, err)
	}
	if in.sheet != "" && len(f.Sheets()) == 0 {
		return app.Imported{}, &usage{errors.New("--sheet names a sheet of a workbook, and this file is none")}
	}
	b, err := f.Open(opt)
	var several *jobbook.SheetsError
	if errors.As(err, &several) {
		err = fmt.Errorf("%w (as --sheet %q)", err, several.Sheets[0])
	}
	if err != nil {
		return app.Imported{}, err
	}
	e.showBook(b)
	if in.mapping == "" {
		e.keepMapping(in.path+".map", b.Mapping.String())
	}
	return e.importing(b.Records(), o, func(o app.ImportOptions) (app.Imported, error) { return s.ImportBook(data, b, o) })
}

// keepMapping writes the mapping beside the book, but never over one that was
// edited.
func (e *env) keepMapping(path, text string) {
	have, err := os.ReadFile(path)
	switch {
	case err == nil && string(have) == text:
		return
	case err == nil:
		e.note(path + " is another mapping and was left as it is; to use it, give it with --map")
		return
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		e.note("the mapping could not be kept beside the file: " + err.Error())
		return
	}
	e.note("the mapping is in " + path + "; edit it and give it back with --map")
}

// showBook shows, before anything is taken, how the book is read.
func (e *env) showBook(b *jobbook.Book) {
	fmt.Fprintln(e.err, shown.Text(b.Mapping.String()))
	if len(b.Unused) > 0 {
		e.prompt("columns that nothing takes: %s\n", fmt.Sprint(b.Unused))
	}
	if b.Doubt != "" {
		e.note(b.Doubt)
	}
	for currency, minor := range b.Counts().Charges {
		fmt.Fprintf(e.err, "the charges come to %s, as they are read\n", events.MoneyText(minor, currency))
	}
	rows := [][]string{{"row", "received", "shipped", "maker", "model", "serial", "made", "customer", "complaint"}}
	for _, seen := range b.Preview(3) {
		if seen.Refused != nil {
			rows = append(rows, []string{fmt.Sprint(seen.Refused.Row), seen.Refused.Why, "", "", "", "", "", "", ""})
			continue
		}
		r := seen.Row
		rows = append(rows, []string{fmt.Sprint(r.Number), r.Received.String(), r.Shipped.String(), r.Maker, r.Model, r.Serial, r.YearText, r.Customer, r.Complaint})
	}
	fmt.Fprintln(e.err, "the first rows, as they are read:")
	for _, line := range columns(rows) {
		e.prompt("  %s\n", line)
	}
}

// importing shows how far a reading is. The number of rows is not known
// before, so about as many are said for the bar.
func (e *env) importing(rows int, o app.ImportOptions, run func(app.ImportOptions) (app.Imported, error)) (app.Imported, error) {
	bar := e.progress("reading in", rows)
	o.Progress = bar.at
	res, err := run(o)
	bar.end(err == nil)
	return res, err
}

func (e *env) tellImported(r app.Imported) {
	e.printf("%s: %d taken as visits of %s not seen before, %d here already, %d refused\n",
		events.Count(r.Rows, "row"), r.Taken, events.Count(r.Units, "unit"), r.Repeated, len(r.Refused))
	for _, f := range r.Refused {
		e.printf("  row %d%s: %s\n", f.Row, job(f.Job), f.Why)
	}
	left := 0
	for _, t := range r.Unmatched {
		left += t.Count
	}
	if r.Findings > 0 {
		e.printf("%s: %d matched to a component, %d left as text\n", events.Count(r.Findings, "finding"), r.Findings-left, left)
	}
	for i, t := range r.Unmatched {
		if i == 10 {
			break
		}
		e.printf("  left as text, %d times: %s\n", t.Count, t.Text)
	}
	e.tellPairs(r)
	if r.DryRun {
		e.printf("this was a dry run: nothing was written\n")
	}
}

// tellPairs tells which units may be one. Those that a dry run made have no tags to say so
// with.
func (e *env) tellPairs(r app.Imported) {
	if len(r.LikelySame) == 0 {
		return
	}
	e.printf("%s that may be one unit, a slip of the hand apart", events.Count(len(r.LikelySame), "pair"))
	if !r.DryRun {
		e.printf("; where they are, say so with")
	}
	e.printf(":\n")
	for i, p := range r.LikelySame {
		if i == mostPairs {
			e.printf("  and %d more; --json has them all\n", len(r.LikelySame)-i)
			break
		}
		pair := fmt.Sprintf("%s %s, serials %s and %s", p.A.Maker, p.A.Model, p.A.Serial, p.B.Serial)
		if !r.DryRun {
			pair = fmt.Sprintf("oldhand same %s %s   # %s", p.A.Tag, p.B.Tag, pair)
		}
		e.printf("  %s\n", pair)
	}
}

// mostPairs is how many likely pairs are printed.
const mostPairs = 40

func job(number string) string {
	if number == "" {
		return ""
	}
	return " (job " + number + ")"
}

// peekExport reports whether a file begins as an export does.
func peekExport(path string) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close()
	head := make([]byte, 1<<16)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return false, err
	}
	return app.IsExport(head[:n]), nil
}

// importExport reads an export into the folder, or makes one of it.
func (e *env) importExport(in importing) error {
	if in.dry || in.mapping != "" || in.format != "" || in.sheet != "" {
		return &usage{errors.New("an export is checked whole before anything of it is taken; it needs no --dry-run, --map, --sheet or --format")}
	}
	dir, err := e.dir()
	if err != nil {
		return err
	}
	bar := e.progress("reading in", 0)
	e.opt.Bulk = true
	var res app.ReadIn
	s, err := app.Open(dir, e.opt)
	var none *app.NoShop
	switch {
	case errors.As(err, &none):
		s, res, err = app.FromExport(dir, in.path, e.opt, bar.at)
	case err == nil:
		res, err = s.ReadExport(in.path, bar.at)
	}
	bar.end(err == nil)
	if s != nil {
		err = errors.Join(err, s.Close())
	}
	if err != nil {
		return err
	}
	return e.answer(res, func() {
		e.printf("%s taken, %d here already, of %s\n", events.Count(res.Events, "event"), res.Known, events.Count(res.Feeds, "feed"))
		if res.Made {
			e.printf("%s is a copy of the shop; its own bench counts nowhere before the owner admits it\n", dir)
		}
	})
}

func (e *env) export() *cobra.Command {
	var format, out string
	var keys bool
	c := &cobra.Command{Use: "export", Short: "write everything out: JSON Lines (CloudEvents 1.0), or open repair data", Args: args(0, 0, "")}
	c.RunE = func(*cobra.Command, []string) error {
		e.opt.EventsOnly = format == "events"
		return e.read(func(s *app.Shop) error {
			return e.toFile(out, func(w io.Writer) (string, error) {
				switch format {
				case "events":
					res, err := s.ExportEvents(w, app.ExportOptions{Keys: keys})
					if res.Held > 0 {
						e.note(fmt.Sprintf("%d events were left out: the head that covers them has not come from their bench yet", res.Held))
					}
					return events.Count(res.Events, "event") + " of " + events.Count(res.Feeds, "feed"), err
				case "ords":
					n, err := s.ExportORDS(w)
					return events.Count(n, "visit"), err
				}
				return "", &usage{fmt.Errorf("--format %s: there are events and ords", format)}
			})
		})
	}
	c.Flags().StringVar(&format, "format", "events", "events, or ords for the Open Repair Data Standard")
	c.Flags().StringVar(&out, "out", "", "the `file` to write; standard output if it is not said")
	c.Flags().BoolVar(&keys, "with-keys", false, "also write the keys of customers' names: whoever has the file can read them")
	return c
}

// toFile writes to a file that is there whole or not at all, or to standard
// output.
func (e *env) toFile(path string, write func(io.Writer) (string, error)) error {
	path = e.path(path)
	if path == "" {
		_, err := write(e.screen())
		return err
	}
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return writeThrough(path, write)
	}
	var what string
	err := wholefile.WriteFrom(path, func(w io.Writer) (err error) {
		what, err = write(w)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(e.err, "%s written to %s\n", what, path)
	return nil
}

// screen is where what is written for programs goes if no file is named: as it is, but
// for a terminal, where it is shown and not obeyed.
func (e *env) screen() io.Writer {
	if e.looks.terminal {
		return shown.On(e.out)
	}
	return e.out
}

// writeThrough writes to what is no plain file: a pipe, a device.
func writeThrough(path string, write func(io.Writer) (string, error)) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = write(f)
	return errors.Join(err, f.Close())
}

func (e *env) verify() *cobra.Command {
	return &cobra.Command{Use: "verify", Short: "check every chain, what follows from it, and every photo and recording", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error {
		return e.read(func(s *app.Shop) error {
			bar := e.progress("checking", 0)
			res, err := s.Verify(func(n uint64) { bar.at(int(n)) })
			bar.end(err == nil)
			if err != nil {
				return err
			}
			err = e.answer(res, func() {
				e.printf("%s in %s, %s, %s\n", events.Count(int(res.Events), "event"), events.Count(res.Feeds, "feed"), events.Count(res.Units, "unit"), events.Count(res.Visits, "visit"))
				e.tellVerifiedPieces(res.Attached)
				if res.Unread > 0 {
					e.printf("%s made by a newer version: kept, and not read here\n", events.Count(int(res.Unread), "event"))
				}
				e.printf("digest %s\n", res.Digest)
				if res.OK {
					e.printf("all is sound\n")
				}
			})
			if err == nil && !res.OK {
				err = fmt.Errorf("%w: %s", app.ErrNotSound, res.Wrong)
			}
			return err
		})
	}}
}

func (e *env) rebuild() *cobra.Command {
	return &cobra.Command{Use: "rebuild", Short: "make everything that follows from the events anew", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error {
		return e.write(func(s *app.Shop) error {
			took, err := s.Rebuild()
			if err != nil {
				return err
			}
			return e.answer(map[string]any{"ok": true, "seconds": took.Seconds()}, func() {
				e.printf("rebuilt in %.1f s\n", took.Seconds())
			})
		})
	}}
}

func (e *env) now() time.Time {
	if e.opt.Now != nil {
		return e.opt.Now()
	}
	return time.Now()
}
