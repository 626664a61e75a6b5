// Package sheet writes the rows of an answer for a spreadsheet: CSV for any
// program, XLSX for those that would rather not guess what is a number.
//
// Both hold the same: the rows, a table for each run of rows with the same
// keys, and below them what the terminal says below them: the day, what is left
// out and how much of it, the notes and the method. An answer must not lose
// what it does not know on its way into a spreadsheet.
//
// Cells are as exact as the answer is, in XLSX to the 15 figures that
// spreadsheets keep. Nothing is rounded for the eye, as it is in the terminal. A
// unit has its whole id, by which tables can be joined; a list is one cell with
// commas; a value that is not there, such as a median that was not reached, is
// an empty cell. Curves are no part of the tables: CSV leaves them out, XLSX
// gives them a sheet named "curve".
//
// Spreadsheets run what they take for a formula. In CSV a text that begins like
// one gets an apostrophe in front, which the job book's reader takes off again;
// numbers below zero are numbers and stay as they are. In XLSX texts are texts
// by their type, and need none.
//
// The same answer gives the same bytes, in both.
package sheet
