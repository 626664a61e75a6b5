package evidence_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"strings"
	"testing"

	"oldhand/events/evidence"
)

// box is a box of ISO/IEC 14496-12, 4.2: its size with its header, its kind, what is
// in it.
func box(kind string, in ...[]byte) []byte {
	inside := bytes.Join(in, nil)
	return append(append(binary.BigEndian.AppendUint32(nil, uint32(8+len(inside))), kind...), inside...)
}

// wideBox says its size in eight bytes, as a recorder does that does not know it yet.
func wideBox(kind string, inside []byte) []byte {
	b := append(binary.BigEndian.AppendUint32(nil, 1), kind...)
	return append(binary.BigEndian.AppendUint64(b, uint64(16+len(inside))), inside...)
}

func ftyp(brand string) []byte {
	return box("ftyp", []byte(brand), make([]byte, 4), []byte("isommp42M4A "))
}

// track is a track with its handler (8.4.3) behind another box.
func track(handler string) []byte {
	hdlr := box("hdlr", make([]byte, 8), []byte(handler), make([]byte, 12), []byte("name\x00"))
	return box("trak", box("tkhd", make([]byte, 84)), box("mdia", box("mdhd", make([]byte, 24)), hdlr, box("minf", make([]byte, 40))))
}

func moov(tracks ...[]byte) []byte {
	return box("moov", append([][]byte{box("mvhd", make([]byte, 100))}, tracks...)...)
}

func joinBytes(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// A recording of a telephone is told from a film by its tracks, whatever its brand.
// The boxes are made here by the sections of the standard that are named beside them;
// a file that another program made is looked at by the page's tests.
func TestARecordingIsToldFromAFilmByItsTracks(t *testing.T) {
	mdat := box("mdat", make([]byte, 50_000))
	lost := joinBytes(ftyp("mp42"), moov(track("soun")), mdat)
	for name, c := range map[string]struct {
		file []byte
		want error
	}{
		"mp42, sound":                    {joinBytes(ftyp("mp42"), moov(track("soun")), mdat), nil},
		"isom, sound behind its data":    {joinBytes(ftyp("isom"), box("free"), mdat, moov(track("soun"))), nil},
		"3gp4, data of unsaid size last": {joinBytes(ftyp("3gp4"), moov(track("soun")), append([]byte("\x00\x00\x00\x00mdat"), make([]byte, 100)...)), nil},
		"iso5, a wide box before":        {joinBytes(ftyp("iso5"), wideBox("mdat", make([]byte, 9000)), moov(track("soun"))), nil},
		"sound with words beside it":     {joinBytes(ftyp("mp42"), moov(track("soun"), track("text"), track("meta")), mdat), nil},
		"sound whose end is lost":        {lost[:len(lost)-10_000], nil},
		"a film":                         {joinBytes(ftyp("mp42"), moov(track("vide"), track("soun")), mdat), evidence.ErrFilm},
		"a film without sound":           {joinBytes(ftyp("isom"), mdat, moov(track("vide"))), evidence.ErrFilm},
		"a film behind its data":         {joinBytes(ftyp("qt  "), mdat, moov(track("soun"), track("vide"))), evidence.ErrFilm},
		"a track of who knows what":      {joinBytes(ftyp("mp42"), moov(track("soun"), track("zzzz")), mdat), evidence.ErrType},
		"words alone":                    {joinBytes(ftyp("mp42"), moov(track("text")), mdat), evidence.ErrType},
		"no tracks":                      {joinBytes(ftyp("mp42"), moov(), mdat), evidence.ErrType},
		"no list of tracks":              {joinBytes(ftyp("mp42"), mdat), evidence.ErrType},
		"a list that is cut off":         {joinBytes(ftyp("mp42"), mdat, moov(track("soun"))[:150]), evidence.ErrType},
		"a box smaller than its header":  {joinBytes(ftyp("mp42"), []byte("\x00\x00\x00\x04moov"), moov(track("soun"))), evidence.ErrType},
		"a box of 2^63 bytes":            {joinBytes(ftyp("mp42"), []byte("\x00\x00\x00\x01mdat\x7f\xff\xff\xff\xff\xff\xff\xff"), moov(track("soun"))), evidence.ErrType},
		"boxes without end":              {joinBytes(ftyp("mp42"), bytes.Repeat(box("free"), 60_000), moov(track("soun"))), evidence.ErrType},
		"a picture":                      {joinBytes(ftyp("heic"), box("meta", make([]byte, 40)), mdat), evidence.ErrType},
	} {
		s, _ := open(t)
		p, err := s.Put(bytes.NewReader(c.file))
		if c.want != nil {
			if !errors.Is(err, c.want) {
				t.Errorf("%s: %v %+v, want %v", name, err, p, c.want)
			}
			if _, here, _ := s.Size(hashOf(c.file)); here {
				t.Errorf("%s: is kept", name)
			}
			continue
		}
		if err != nil || p.Type != "audio/mp4" {
			t.Errorf("%s: %v %+v", name, err, p)
			continue
		}
		f, err := s.Open(p.Content)
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(f)
		if err := errors.Join(err, f.Close()); err != nil || !bytes.Equal(got, c.file) || f.Type != "audio/mp4" {
			t.Errorf("%s: read back %d bytes of type %q, %v", name, len(got), f.Type, err)
		}
	}
	if !strings.Contains(evidence.ErrFilm.Error(), "film") {
		t.Error("a film is not named")
	}
}

func FuzzSound(f *testing.F) {
	f.Add(joinBytes(ftyp("mp42"), moov(track("soun"))))
	f.Add(joinBytes(ftyp("isom"), wideBox("mdat", make([]byte, 90)), moov(track("soun"), track("vide"))))
	f.Fuzz(func(t *testing.T, file []byte) {
		s, _ := open(t)
		p, err := s.Put(bytes.NewReader(file))
		if err == nil && p.Type == "audio/mp4" && !bytes.Contains(file, []byte("soun")) && !bytes.Contains(file[:12], []byte("M4")) {
			t.Error("a recording without a track of sound")
		}
	})
}
