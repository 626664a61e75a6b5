package web

import (
	"bytes"
	"fmt"
	"image/jpeg"
	"io"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/photo"
	"oldhand/cmd/internal/qr"
)

// A photo of a tag opens its unit: a telephone's browser takes one without being
// allowed to use the camera itself, which over a network it would ask a certificate
// for that it knows. The photo is read here and kept nowhere.

const (
	// mostPhoto is how large a photo of a tag may be.
	mostPhoto = 24 << 20

	// readSide is the longest side that it is read at, in pixels: a larger one takes
	// the reader long and tells it nothing more.
	readSide = 1200
)

func readTag(q *request) error {
	given, _, err := q.nextFile("photo")
	if err == nil && given == nil {
		err = &app.Wrong{What: "the photo", Why: "was not chosen"}
	}
	if err != nil {
		return q.tagsShown(err)
	}
	b, err := io.ReadAll(given)
	if err != nil {
		return q.tagsShown(formError(err))
	}
	text, err := codeOn(b)
	if err != nil {
		return q.tagsShown(&app.Wrong{What: "the photo", Why: err.Error() + "; go nearer, hold still, and let the whole code be in it"})
	}
	matches, _, err := q.shop.Lookup(text, listedWhileTyped)
	if err != nil {
		return q.tagsShown(err)
	}
	the := exact(matches)
	if the == nil {
		return q.tagsShown(&app.NotHere{Unit: fmt.Sprintf("“%.80s”", text), Why: "was read off the photo, and is no one unit of this shop"})
	}
	at, err := address("unit", refOf(the.Tag, the.Unit))
	if err != nil {
		return err
	}
	return q.goTo(at)
}

// codeOn reads the code in a photo, which is made upright and small first.
func codeOn(b []byte) (string, error) {
	small, err := photo.Make(bytes.NewReader(b), readSide)
	if err != nil {
		return "", err
	}
	m, err := jpeg.Decode(bytes.NewReader(small))
	if err != nil {
		return "", err
	}
	return qr.Read(m)
}
