package workbook

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
)

const (
	// mostUnpacked is how many bytes of a part are read: a sheet of a million rows
	// with twenty short cells each.
	mostUnpacked = 1 << 30

	// mostText is how many bytes of text a sheet, or the table of texts, may have.
	mostText = 512 << 20

	// mostDeep is how deep elements nest. A sheet has about six levels.
	mostDeep = 64
)

var errTooMuch = fmt.Errorf("unpacks to more than %d MiB, which no job book does", mostUnpacked>>20)

// limited ends with an error, and not quietly, where a part is too large.
type limited struct {
	r    io.Reader
	left int64
}

// Read reads on.
func (l *limited) Read(p []byte) (int, error) {
	if l.left <= 0 {
		return 0, errTooMuch
	}
	n, err := l.r.Read(p[:min(int64(len(p)), l.left)])
	l.left -= int64(n)
	return n, err
}

// tokens are the tokens of a part, one after the other.
type tokens struct {
	d    *xml.Decoder
	deep int
}

// next gives the next token; io.EOF behind the last of a part that is whole.
func (t *tokens) next() (xml.Token, error) {
	tok, err := t.d.Token()
	if err != nil {
		return nil, err
	}
	switch tok.(type) {
	case xml.StartElement:
		if t.deep++; t.deep > mostDeep {
			return nil, fmt.Errorf("elements nest deeper than %d", mostDeep)
		}
	case xml.EndElement:
		t.deep--
	}
	return tok, nil
}

// within gives the start of each element inside the one that was opened last, until
// that one is closed.
func (t *tokens) within(each func(xml.StartElement) error) error {
	for level := t.deep; ; {
		tok, err := t.next()
		if err != nil {
			return notEnd(err)
		}
		switch el := tok.(type) {
		case xml.StartElement:
			if err := each(el); err != nil {
				return err
			}
		case xml.EndElement:
			if t.deep < level {
				return nil
			}
		}
	}
}

// text is all text inside the element that was opened last.
func (t *tokens) text(to []byte) ([]byte, error) {
	for level := t.deep; ; {
		tok, err := t.next()
		if err != nil {
			return nil, notEnd(err)
		}
		switch el := tok.(type) {
		case xml.CharData:
			if to = append(to, el...); len(to) > mostText {
				return nil, errTooMuchText
			}
		case xml.EndElement:
			if t.deep < level {
				return to, nil
			}
		}
	}
}

// skip passes over the element that was opened last.
func (t *tokens) skip() error { return t.within(func(xml.StartElement) error { return nil }) }

// notEnd says of a part that ends inside an element that it breaks off.
func notEnd(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

// walk goes through a part and calls each for the start of every element, which may
// go on through what is inside. It goes to the part's end, so that its sum is checked.
func (b *Book) walk(name string, each func(*tokens, xml.StartElement) error) error {
	if err := b.walkThrough(name, each); err != nil {
		return fmt.Errorf("read part %s of the workbook: %w", name, err)
	}
	return nil
}

func (b *Book) walkThrough(name string, each func(*tokens, xml.StartElement) error) (err error) {
	f := b.parts[name]
	if f == nil {
		return errors.New("it is not in the file")
	}
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	t := &tokens{d: xml.NewDecoder(&limited{r, mostUnpacked})}
	for {
		tok, err := t.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if el, ok := tok.(xml.StartElement); ok {
			if err := each(t, el.Copy()); err != nil {
				return err
			}
		}
	}
}

// attr is an attribute without a namespace, empty where there is none.
func attr(el xml.StartElement, name string) string {
	for _, a := range el.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value
		}
	}
	return ""
}

func isTrue(s string) bool { return s == "1" || strings.EqualFold(s, "true") || s == "on" }
