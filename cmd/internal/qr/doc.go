// Package qr draws a short text, such as a join code, as a QR code (ISO/IEC
// 18004): in a terminal, as PNG or as SVG. A camera or a scanner then types
// what a person would have to. It draws bars (Code 128, ISO/IEC 15417) for hand
// scanners that read nothing else, and reads both off a photo.
//
// Make gives a Code, which is a square of modules, dark or light. Text draws
// it with block characters, two modules in one character's place; PNG and SVG
// draw it as pictures. Each drawing has a quiet zone of four modules around, as
// the standard wants it.
//
// # Dark on light
//
// Not every reader takes a code whose light and dark are swapped, and what a
// block character looks like depends on the terminal. So a drawing says what
// it is drawn for. OnColours sets black and white itself, whatever the terminal
// has. OnDark puts blocks where the code is light, for light letters on a dark
// ground; OnLight puts them where it is dark, for paper and for an editor.
//
// # Read back
//
// About one code in twenty that are made of chance text has something in it
// that a reader takes for one of the three corners. Make reads what it made, as
// a camera would, and takes another strength of correction if that fails: that
// moves everything. A code that can't be read is never given. MakeBars does the same
// for bars, which have one form only.
//
// Read looks for a code in a photo that somebody took. The picture is anybody's: what
// breaks inside the reading library is an error and no more.
//
// What it does not do: it does not look how wide the terminal is; a code of 96
// characters takes 45 columns and 23 lines. A text of capitals, digits, spaces
// and the marks $%*+-./: is drawn smallest; one small letter makes it larger by
// half. A reader learns the text and nothing of what it is for.
package qr
