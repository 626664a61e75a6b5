package cli

import (
	"errors"
	"fmt"
	"io"

	"oldhand/cmd/internal/picture"
	"oldhand/cmd/internal/sheet"
	"oldhand/events"
	"oldhand/projections"
)

// showing is in which form an answer is wanted.
type showing struct{ format, out, svg string }

// show gives an answer as text, JSON or a table, and draws its picture.
func (e *env) show(res *projections.Result, as showing) error {
	if as.svg != "" {
		if err := e.draw(res, as.svg); err != nil {
			return err
		}
	}
	switch as.format {
	case "text":
		if as.out != "" {
			return &usage{errors.New("--out goes with --format csv or xlsx")}
		}
		var told error
		return errors.Join(e.answer(res, func() { told = e.tellResult(res) }), told)
	case "csv":
		return e.toFile(as.out, tableWriter(res, sheet.CSV))
	case "xlsx":
		if as.out == "" {
			return &usage{errors.New("a workbook is not for the terminal; name its file with --out")}
		}
		return e.toFile(as.out, tableWriter(res, sheet.XLSX))
	}
	return &usage{fmt.Errorf("--format %s: there are text, csv and xlsx", as.format)}
}

func tableWriter(res *projections.Result, write func(io.Writer, *projections.Result) error) func(io.Writer) (string, error) {
	return func(w io.Writer) (string, error) { return events.Count(len(res.Rows), "row"), write(w, res) }
}

// draw writes an answer's picture.
func (e *env) draw(res *projections.Result, path string) error {
	if res.Picture == nil {
		return fmt.Errorf("%s: this answer has no picture: there is nothing to draw, or too many curves to tell apart", path)
	}
	svg, err := picture.SVG(res.Picture)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return e.toFile(path, func(w io.Writer) (string, error) {
		_, err := w.Write(svg)
		return "a picture", err
	})
}
