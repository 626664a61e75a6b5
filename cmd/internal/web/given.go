package web

import (
	"errors"
	"io"
	"mime/multipart"
)

// nextFile gives the file of a form that has one, and the fields before it; nil
// where none was chosen.
func (q *request) nextFile(name string) (file *multipart.Part, fields map[string]string, err error) {
	parts, err := q.r.MultipartReader()
	if err != nil {
		return nil, nil, formError(err)
	}
	fields = map[string]string{}
	for {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return nil, fields, nil
		}
		if err != nil {
			return nil, nil, formError(err)
		}
		switch {
		case p.FormName() == name && p.FileName() != "":
			return p, fields, nil
		case p.FormName() != name:
			text, err := io.ReadAll(io.LimitReader(p, 1000))
			if err != nil {
				return nil, nil, formError(err)
			}
			fields[p.FormName()] = string(text)
		}
	}
}
