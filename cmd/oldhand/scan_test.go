package main

import (
	"image/png"
	"os"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/rogpeppe/go-internal/testscript"
)

// scan PICTURE VARIABLE reads a QR code off a picture, as a camera does, into a
// variable.
func scan(ts *testscript.TestScript, _ bool, args []string) {
	f, err := os.Open(ts.MkAbs(args[0]))
	ts.Check(err)
	defer f.Close()
	m, err := png.Decode(f)
	ts.Check(err)
	bits, err := gozxing.NewBinaryBitmapFromImage(m)
	ts.Check(err)
	res, err := qrcode.NewQRCodeReader().Decode(bits, nil)
	ts.Check(err)
	ts.Setenv(args[1], res.GetText())
}
