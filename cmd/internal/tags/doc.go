// Package tags draws the tag of a set: its number in figures that are read across
// the bench, a QR code, bars for a hand scanner, and what set it is. Many go on a
// sheet of labels, one on a label of a label printer, or into a picture.
//
// Make lays one label out in millimetres; Sheet, SVG and PNG draw what it made. The
// letters are drawn as outlines in pictures, so that they look the same everywhere,
// and as text in a PDF.
//
// # Sizes
//
// Modules of both codes are whole eighths of a millimetre: a dot of the usual label
// printer (203 to the inch), so that it prints every bar as wide as it is drawn. A
// QR module has three at least, which cheap cameras still tell apart, and a bar two;
// both are common practice, no source. A label on which they don't go is refused with
// the size that would do. Quiet zones are inside the label: it may be stuck on
// anything.
//
// # Read back
//
// Each code is read back when it is made (package qr), and a label as a whole is
// read in the tests, off the picture.
//
// What it does not do: a sheet's columns and rows follow from the label's size, in
// the middle of the sheet. A bought sheet whose labels lie otherwise needs --gap, or
// a print to the size of one label.
package tags
