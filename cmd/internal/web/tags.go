package web

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/tags"
)

// tagsView is the page of tags: what to print and on what, how it comes out, and a
// place for a photo of one.
type tagsView struct {
	Units         string // as typed
	Benches       bool
	Size, Onto    string
	Gap, Used     string
	Lines         bool
	Labels        []labelView
	More          int // that are printed and not shown here
	PDF           string
	PNG, SVG      string // where it is one
	Opens         string // what the QR codes open; empty where they hold the number
	Untagged      int
	Lacks         []string
	Most          string
	Error, Unread *trouble
}

// labelView is one label as it comes out.
type labelView struct {
	Picture, Words string
	Wide, High     int // pixels
}

// labelsShown is how many labels are drawn on the page.
const labelsShown = 12

// printing is what is asked for, drawn.
type printing struct {
	drawn    []*tags.Drawn
	pdf      []byte
	untagged int
}

func tagsPage(q *request) error { return q.tagsShown(nil) }

// tagsShown draws the page, after a photo that could not be read with why.
func (q *request) tagsShown(unread error) error {
	v := tagsView{Units: q.asked("units"), Benches: q.asked("benches") != "", Size: q.asked("size"), Onto: q.asked("paper"), Gap: q.asked("gap"), Used: q.asked("used"), Opens: q.s.lan.lan.Base(), Most: fmt.Sprintf("%d MiB", mostPhoto>>20)}
	v.Lines = q.lines()
	if v.Size == "" {
		v.Size = tags.Usual.String()
	}
	if v.Units != "" || v.Benches {
		p, err := q.printing()
		switch {
		case err == nil:
			v.show(q, p)
		case statusOf(err) >= http.StatusInternalServerError:
			return err
		default:
			v.Error, q.status = troubleOf(err), statusOf(err)
		}
	}
	if unread != nil {
		v.Unread, q.status = troubleOf(unread), statusOf(unread)
	}
	return q.show("tags", "Tags", v)
}

// asTyped says of an error of package tags that what was typed is wrong: it checks
// sizes and sheets, and draws in memory.
func asTyped(err error) error {
	if err == nil {
		return nil
	}
	return &app.Wrong{What: "the tags", Why: err.Error()}
}

func (v *tagsView) show(q *request, p printing) {
	v.Untagged, v.More = p.untagged, max(0, len(p.drawn)-labelsShown)
	size := url.Values{"size": {v.Size}}
	for i, d := range p.drawn {
		if d.Lacks != "" {
			v.Lacks = append(v.Lacks, "Tag "+d.Tag+": "+d.Lacks)
		}
		if i < labelsShown {
			size.Set("unit", "#"+d.Tag)
			v.Labels = append(v.Labels, labelView{"/tags/picture?" + size.Encode(), d.Words(), int(d.Size.W * pixelsPerMM), int(d.Size.H * pixelsPerMM)})
		}
	}
	asked := q.r.URL.Query()
	asked.Del("said")
	v.PDF = "/tags/pdf?" + asked.Encode()
	if len(p.drawn) == 1 {
		v.SVG = v.Labels[0].Picture + "&take=svg"
		v.PNG = v.Labels[0].Picture + "&take=png"
	}
}

// pixelsPerMM is how large a label is shown (CSS, 96 pixels to the inch).
const pixelsPerMM = 96 / 25.4

// printing draws what the address asks for.
func (q *request) printing() (p printing, err error) {
	size, err := tags.ParseSize(q.asked("size"))
	if err != nil {
		return p, &app.Wrong{What: "size", Why: err.Error()}
	}
	onto, err := q.onto()
	if err != nil {
		return p, err
	}
	labels, untagged, err := q.labels()
	if err != nil {
		return p, err
	}
	if len(labels) == 0 {
		return p, &app.NotHere{Unit: "a tag", Why: "can't be printed: nothing with a tag stands on the benches"}
	}
	p.untagged = untagged
	if p.drawn, err = tags.MakeAll(labels, size); err != nil {
		return p, asTyped(err)
	}
	var b bytes.Buffer
	_, err = tags.Sheet(&b, p.drawn, onto)
	p.pdf = b.Bytes()
	return p, asTyped(err)
}

// mostTags is how many tags are printed at once.
const mostTags = 500

func (q *request) labels() ([]tags.Label, int, error) {
	if q.asked("benches") != "" {
		labels, untagged, err := q.shop.TagsOnBenches(q.s.lan.lan.Base())
		return labels[:min(len(labels), mostTags)], untagged, err
	}
	typed := strings.FieldsFunc(q.asked("units"), func(r rune) bool { return r == ',' || r == ';' || r == '\n' || r == ' ' })
	if len(typed) == 0 || len(typed) > mostTags {
		return nil, 0, &app.Wrong{What: "units", Why: fmt.Sprintf("name some, by their tags, at most %d", mostTags)}
	}
	labels, err := q.shop.TagsOf(typed, q.s.lan.lan.Base())
	return labels, 0, err
}

// onto reads what is printed on.
func (q *request) onto() (o tags.Onto, err error) {
	if q.asked("paper") != "label" {
		if o.Paper, err = paper.SizeOf(q.asked("paper")); err != nil {
			return o, &app.Wrong{What: "paper", Why: "there are a4, letter and label"}
		}
	}
	if typed := q.asked("gap"); typed != "" {
		if o.Gap, err = strconv.ParseFloat(typed, 64); err != nil {
			return o, &app.Wrong{What: "gap", Why: "want millimetres, such as 2.5"}
		}
	}
	if typed := q.asked("used"); typed != "" {
		if o.Used, err = strconv.Atoi(typed); err != nil {
			return o, &app.Wrong{What: "labels that are gone", Why: "want their number"}
		}
	}
	o.Lines = q.lines()
	return o, nil
}

// lines reports whether lines are drawn to cut along: they are unless the form was
// sent without.
func (q *request) lines() bool { return q.asked("lines") != "" || !q.r.URL.Query().Has("size") }

func tagsPDF(q *request) error {
	p, err := q.printing()
	if err != nil {
		return err
	}
	return q.sendBytes(p.pdf, "application/pdf", "tags.pdf")
}

// tagPicture gives one label as a picture: to be shown, or to be taken.
func tagPicture(q *request) error {
	size, err := tags.ParseSize(q.asked("size"))
	if err != nil {
		return &app.Wrong{What: "size", Why: err.Error()}
	}
	labels, err := q.shop.TagsOf([]string{q.asked("unit")}, q.s.lan.lan.Base())
	if err != nil {
		return err
	}
	d, err := tags.Make(labels[0], size)
	if err != nil {
		return asTyped(err)
	}
	switch q.asked("take") {
	case "png":
		b, err := d.PNG()
		if err != nil {
			return err
		}
		return q.sendBytes(b, "image/png", "tag-"+d.Tag+".png")
	case "svg":
		return q.sendBytes(d.SVG(), "image/svg+xml", "tag-"+d.Tag+".svg")
	}
	q.w.Header().Set("Content-Type", "image/svg+xml")
	if _, err := q.w.Write(d.SVG()); err != nil {
		q.s.opt.Log.Debug("answer not sent", "why", err.Error()) // the browser went away
	}
	return nil
}
