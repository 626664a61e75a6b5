package workbook

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"fmt"
	"path"
	"strings"
	"unicode/utf16"
)

// What is refused by name: each has a way out that a person can take.
var (
	// ErrEncrypted is returned for a workbook with a password.
	ErrEncrypted = errors.New("the workbook is locked with a password: save it without one")

	// ErrOldFormat is returned for a workbook of before 2007.
	ErrOldFormat = errors.New("the file is a workbook of the old kind (.xls): save it as .xlsx or as CSV")

	// ErrBinary is returned for a workbook whose parts are not XML.
	ErrBinary = errors.New("the file is a binary workbook (.xlsb): save it as .xlsx or as CSV")

	// ErrOpenDocument is returned for a document of that standard.
	ErrOpenDocument = errors.New("the file is an OpenDocument sheet (.ods): save it as .xlsx or as CSV")

	// ErrNoWorkbook is returned for an archive of something else.
	ErrNoWorkbook = errors.New("the file is an archive that holds no workbook")
)

// The first bytes of a zip archive, and of the compound files that older programs and
// encrypted workbooks are kept in.
const (
	packed   = "PK\x03\x04"
	compound = "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"
)

// Is reports whether data looks like a workbook, also one that is refused.
func Is(data []byte) bool {
	return bytes.HasPrefix(data, []byte(packed)) || bytes.HasPrefix(data, []byte(compound))
}

// Sheet is a sheet of a workbook, in the order of its tabs.
type Sheet struct {
	Name   string
	Hidden bool
	part   string
}

// Book is an opened workbook. It is read by one goroutine at a time.
type Book struct {
	Sheets   []Sheet
	From1904 bool // days are counted from 1904 and not from 1900

	parts   map[string]*zip.File // by name in small letters
	texts   []string
	formats formats
}

// mostSheets bounds what a list of sheets can cost.
const mostSheets = 1000

// Open reads what all sheets share: their list, the table of texts, the formats.
func Open(data []byte) (*Book, error) {
	if bytes.HasPrefix(data, []byte(compound)) {
		if bytes.Contains(data, wide("EncryptedPackage")) {
			return nil, ErrEncrypted
		}
		return nil, ErrOldFormat
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, fmt.Errorf("unpack the workbook: %w; is the file whole?", err)
	}
	b := &Book{parts: map[string]*zip.File{}}
	for _, f := range z.File {
		name := strings.ToLower(strings.ReplaceAll(f.Name, "\\", "/"))
		if _, twice := b.parts[name]; twice {
			return nil, fmt.Errorf("the workbook has two parts named %s", f.Name)
		}
		b.parts[name] = f
	}
	if err := b.open(); err != nil {
		return nil, err
	}
	return b, nil
}

// wide is a name as the directory of a compound file has it.
func wide(s string) []byte {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = binary.LittleEndian.AppendUint16(b, u)
	}
	return b
}

func (b *Book) open() error {
	if _, ok := b.parts["mimetype"]; ok {
		return ErrOpenDocument
	}
	root, err := b.relations("")
	if err != nil {
		return err
	}
	main := root.ofType("officeDocument")
	switch {
	case strings.HasSuffix(main, ".bin"):
		return ErrBinary
	case main == "" || b.parts[main] == nil:
		return ErrNoWorkbook
	}
	rels, err := b.relations(main)
	if err != nil {
		return err
	}
	if err := b.readMain(main, rels); err != nil {
		return err
	}
	if part := rels.ofType("sharedStrings"); part != "" {
		if err := b.readTexts(part); err != nil {
			return err
		}
	}
	if part := rels.ofType("styles"); part != "" {
		return b.readFormats(part)
	}
	return nil
}

// readMain reads the list of sheets and the day that days are counted from.
func (b *Book) readMain(part string, rels relations) error {
	sheetsSeen := false
	err := b.walk(part, func(t *tokens, el xml.StartElement) error {
		switch el.Name.Local {
		case "workbookPr":
			sheetsSeen = true
			b.From1904 = isTrue(attr(el, "date1904"))
		case "sheet":
			sheetsSeen = true
			if len(b.Sheets) == mostSheets {
				return fmt.Errorf("there are more than %d sheets", mostSheets)
			}
			rel := rels[idOf(el)]
			if !strings.HasSuffix(rel.kind, "/worksheet") {
				return nil // a chart, or a macro
			}
			state := attr(el, "state")
			b.Sheets = append(b.Sheets, Sheet{Name: attr(el, "name"), Hidden: state == "hidden" || state == "veryHidden", part: rel.part})
		}
		return nil
	})
	switch {
	case err != nil:
		return err
	case !sheetsSeen:
		return ErrNoWorkbook
	case len(b.Sheets) == 0:
		return errors.New("the workbook has no sheet with cells")
	}
	return nil
}

// idOf is the relation that a sheet names.
func idOf(el xml.StartElement) string {
	for _, a := range el.Attr {
		if a.Name.Local == "id" && strings.HasSuffix(a.Name.Space, "/relationships") {
			return a.Value
		}
	}
	return ""
}

// relation is where something lies that a part names.
type relation struct{ kind, part string }

type relations map[string]relation

// ofType is the first part of a type, by the last word of the type's name: its
// beginning is another in the standard's strict form.
func (r relations) ofType(kind string) string {
	best, id := "", ""
	for name, rel := range r {
		if strings.HasSuffix(rel.kind, "/"+kind) && (id == "" || name < id) {
			best, id = rel.part, name
		}
	}
	return best
}

// relations reads what a part names; of the whole workbook where part is empty.
func (b *Book) relations(part string) (relations, error) {
	dir, base := path.Split(part)
	name := dir + "_rels/" + base + ".rels"
	r := relations{}
	if b.parts[name] == nil {
		return r, nil
	}
	return r, b.walk(name, func(_ *tokens, el xml.StartElement) error {
		if el.Name.Local != "Relationship" || attr(el, "TargetMode") == "External" {
			return nil
		}
		target := strings.ToLower(attr(el, "Target"))
		if strings.HasPrefix(target, "/") {
			target = strings.TrimPrefix(path.Clean(target), "/")
		} else {
			target = path.Join(dir, target)
		}
		r[attr(el, "Id")] = relation{attr(el, "Type"), target}
		return nil
	})
}
