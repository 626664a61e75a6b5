// Package papertest reads the text of our own PDFs back, so that a test can say
// what stands on a sheet and in which order, from the very bytes that go to a
// printer.
//
// It knows as much of ISO 32000 as package paper writes: streams packed with zlib
// (7.4.4), strings in parentheses with the three escapes that are used (7.3.4.2), and
// two bytes a letter, which are its number in Unicode. Any other PDF it may misread.
package papertest
