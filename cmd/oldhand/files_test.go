package main

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/jpeg"
	"math/rand/v2"
	"os"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"
)

// fileCmds make the files that stories attach.
var fileCmds = map[string]func(*testscript.TestScript, bool, []string){
	"photo": makePhoto,
	"sound": makeSound,
	"vast":  makeVast,
}

// photo FILE TEXT SIDE makes a JPEG of noise with a text in its Exif, which says
// that the camera lay on its side.
func makePhoto(ts *testscript.TestScript, _ bool, args []string) {
	side, err := strconv.Atoi(args[2])
	ts.Check(err)
	img := image.NewRGBA(image.Rect(0, 0, side, side/2))
	r := rand.New(rand.NewPCG(uint64(side), 1))
	for i := 0; i < len(img.Pix); i += 4 {
		c := color.RGBA{byte(r.Uint32()), byte(r.Uint32()), byte(r.Uint32()), 255}
		copy(img.Pix[i:], []byte{c.R, c.G, c.B, c.A})
	}
	var b bytes.Buffer
	ts.Check(jpeg.Encode(&b, img, nil))
	le := binary.LittleEndian
	exif := le.AppendUint32([]byte("Exif\x00\x00II*\x00"), 8)
	exif = le.AppendUint16(exif, 1)
	exif = le.AppendUint32(le.AppendUint16(le.AppendUint16(exif, 0x0112), 3), 1) // orientation, one short
	exif = le.AppendUint32(le.AppendUint32(exif, 6), 0)
	exif = append(exif, args[1]...)
	out := binary.BigEndian.AppendUint16([]byte{0xFF, 0xD8, 0xFF, 0xE1}, uint16(len(exif)+2))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), append(append(out, exif...), b.Bytes()[2:]...), 0o600))
}

// sound FILE TEXT BYTES makes a WAV file with a text in it.
func makeSound(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	b := make([]byte, n)
	r := rand.New(rand.NewPCG(uint64(n), 2))
	for i := range b {
		b[i] = byte(r.Uint32())
	}
	copy(b, "RIFF\x00\x00\x00\x00WAVEfmt ")
	copy(b[100:], args[1])
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b, 0o600))
}

// vast FILE makes a file that begins as a PDF and is larger than may be kept.
func makeVast(ts *testscript.TestScript, _ bool, args []string) {
	path := ts.MkAbs(args[0])
	ts.Check(os.WriteFile(path, []byte("%PDF-1.7\n"), 0o600))
	ts.Check(os.Truncate(path, 64<<20+1))
}
