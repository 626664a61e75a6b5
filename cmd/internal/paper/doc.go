// Package paper is what a sheet of paper needs whatever stands on it: its size,
// letters whose width is known before they are printed, and a PDF (ISO 32000)
// that is the same to the byte whenever the same is drawn.
//
// A Doc is drawn on in millimetres from the upper left corner, page after page,
// and written once. Nothing is placed by itself: who draws breaks lines with Wrap
// and knows from Width and LineHeight where they come to lie, so that he can try
// how much goes on a sheet before anything is printed.
//
// # Letters
//
// The letters are the Go fonts, which are part of the program: Latin, Greek and
// Cyrillic, and no further script. A sign that they lack would come out as an empty
// box, and nobody would know that something else was written there. So every text
// goes through a Speller: it puts such signs' number in brackets where they stood,
// and knows afterwards which they were, so that the paper and whoever prints it
// can say so.
//
// # The same bytes
//
// A PDF has a date in it and lists that a program may write in any order. The date
// is passed in, and everything is sorted. So two copies of a paper can be compared,
// and what was printed once can be made again.
//
// What it does not do: the PDF has no tags for a screen reader; what can be read
// aloud is the page of the same content in package web.
package paper
