package cli

import (
	"errors"
	"fmt"
	"io"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/tags"
	"oldhand/events"

	"github.com/spf13/cobra"
)

// tagging is what tags are printed on.
type tagging struct {
	benches       bool
	size, on      string
	gap           float64
	used          int
	lines         bool
	out, png, svg string
}

func (e *env) tags() *cobra.Command {
	var t tagging
	c := &cobra.Command{Use: "tags UNIT...", Short: "print tags with a QR code and bars, on a sheet of labels or one by one", Args: args(0, -1, "UNIT... --out FILE.pdf, or: --benches"),
		Long: "Print tags: the number in large figures, a QR code, bars, maker, model and serial. --size is\nthat of one label in millimetres; how many go on a sheet follows from it. --paper label makes\neach a page of its own, for a label printer. Where phones are let in (oldhand lan) the QR code\nopens the unit's page on one; else it holds the tag's number, which the page's lookup box takes.\n\n  oldhand tags 10019 10024 --out tags.pdf\n  oldhand tags --benches --size 50x25 --out tags.pdf\n  oldhand tags 10019 --paper label --size 62x29 --out tag.pdf\n  oldhand tags 10019 --png tag.png"}
	c.RunE = func(_ *cobra.Command, a []string) error {
		if err := t.check(a); err != nil {
			return &usage{err}
		}
		return e.runTags(a, t)
	}
	f := c.Flags()
	f.BoolVar(&t.benches, "benches", false, "the tags of all that stand on the benches")
	f.StringVar(&t.size, "size", "", "a label's `size` in millimetres; "+tags.Usual.String()+" if it is not said")
	f.StringVar(&t.on, "paper", "", "a4, letter, or label for a label printer; a4 if it is not said")
	f.Float64Var(&t.gap, "gap", 0, "`millimetres` between two labels of a sheet")
	f.IntVar(&t.used, "used", 0, "how many `labels` of the first sheet are gone")
	f.BoolVar(&t.lines, "lines", true, "hair lines to cut along; --lines=false for a sheet of labels that is cut already")
	f.StringVar(&t.out, "out", "", "the PDF `file` to write")
	f.StringVar(&t.png, "png", "", "draw the one tag into this `file`")
	f.StringVar(&t.svg, "svg", "", "draw the one tag into this `file`")
	return c
}

func (t tagging) check(units []string) error {
	switch {
	case t.benches == (len(units) > 0):
		return errors.New("name units, or say --benches")
	case t.out == "" && t.png == "" && t.svg == "":
		return errors.New("say where to: --out FILE.pdf, or --png or --svg for one tag")
	case (t.png != "" || t.svg != "") && len(units) != 1:
		return errors.New("--png and --svg draw one tag; name one unit")
	}
	_, err := t.onto()
	return err
}

// onto is what is printed on.
func (t tagging) onto() (o tags.Onto, err error) {
	o = tags.Onto{Gap: t.gap, Used: t.used, Lines: t.lines}
	if t.on != "label" {
		if o.Paper, err = paper.SizeOf(t.on); err != nil {
			err = fmt.Errorf("--%w, and label", err)
		}
	}
	return o, err
}

func (e *env) runTags(units []string, t tagging) error {
	size, err := tags.ParseSize(t.size)
	if err != nil {
		return &usage{err}
	}
	base := ""
	if err := e.withLan(func(l *app.Lan) error { base = l.Base(); return nil }); err != nil {
		return err
	}
	return e.read(func(s *app.Shop) error {
		labels, untagged, err := labelsFor(s, units, base)
		if err != nil {
			return err
		}
		drawn, err := tags.MakeAll(labels, size)
		if err != nil {
			return err
		}
		if err := e.writeTags(drawn, t); err != nil {
			return err
		}
		for _, d := range drawn {
			if d.Lacks != "" {
				e.note("tag " + d.Tag + ": " + d.Lacks)
			}
		}
		if untagged > 0 {
			e.note(events.Count(untagged, "unit") + " on the benches without a tag")
		}
		if e.json {
			return e.answer(labels, nil)
		}
		return nil
	})
}

func labelsFor(s *app.Shop, units []string, base string) ([]tags.Label, int, error) {
	if len(units) == 0 {
		return s.TagsOnBenches(base)
	}
	labels, err := s.TagsOf(units, base)
	return labels, 0, err
}

func (e *env) writeTags(drawn []*tags.Drawn, t tagging) error {
	if len(drawn) == 0 {
		return &app.NotHere{Unit: "a tag", Why: "can't be printed: nothing with a tag stands on the benches"}
	}
	var errs []error
	if t.out != "" {
		onto, err := t.onto()
		if err != nil {
			return err
		}
		errs = append(errs, e.toFile(t.out, func(w io.Writer) (string, error) {
			n, err := tags.Sheet(w, drawn, onto)
			return events.Count(len(drawn), "tag") + " on " + events.Count(n, "sheet"), err
		}))
	}
	for _, p := range []struct {
		path string
		draw func() ([]byte, error)
	}{{t.png, drawn[0].PNG}, {t.svg, func() ([]byte, error) { return drawn[0].SVG(), nil }}} {
		if p.path == "" {
			continue
		}
		errs = append(errs, e.toFile(p.path, func(w io.Writer) (string, error) {
			b, err := p.draw()
			if err == nil {
				_, err = w.Write(b)
			}
			return "the tag's picture", err
		}))
	}
	return errors.Join(errs...)
}
