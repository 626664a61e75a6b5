// Package jobbook reads an old job book: the table that a shop has typed for
// thirty years, one row a visit, saved from whatever program it lived in, as text
// (CSV) or as a workbook (.xlsx). It reads and writes nothing; the caller turns rows
// into events.
//
// Open looks at the whole file once and settles what can only be settled for
// all rows together: the encoding and the separator, or the sheet; which column is
// what, whether the month or the day comes first, which sign parts the cents. All of that is
// one value, the Mapping, which a person can see as text, edit, and give back.
// Rows then walks the file a second time and gives, for each record, either a
// Row or the reason why it was Refused.
//
// Three rules hold everywhere.
//
//   - Nothing is guessed that decides what happened when. Where every date of a
//     file could be read both ways, or where its dates contradict each other,
//     each ambiguous date is a refusal that says so, until the mapping settles
//     it. A date that is wrong by months is worse than a row that is missing,
//     because nobody will ever look for it.
//   - A row is taken whole or refused whole. What can't be read but is not
//     needed (a charge, a year made) stays as text with a warning.
//   - What was typed stays as typed. Outer space goes, since no two programs
//     keep it alike; makers, serials, markings and readings are not touched, as
//     a better reader may come later.
//
// The same row has the same Key however the file was saved, so that a file
// taken in twice changes nothing, and a row copied whole inside a file is seen.
//
// # Workbooks
//
// A sheet of a workbook is brought into rows of text by package workbook and then read
// as any book: same guesses, same mapping, same keys, so that a book taken in as CSV is
// known again when it comes as a workbook, as far as its cells have the same words. A
// row's number is that of the sheet. One sheet is read at a time; where several could be
// meant, none is guessed (SheetsError), and hidden ones are read only if they are named.
// Rows that share a cell are refused: whether a charge that stands beside two visits is
// one's or both's, only a person can say.
//
// OpenORDS and WriteORDS do the same for the Open Repair Data Standard, whose
// columns are fixed and whose rows have an id instead of a unit's serial.
//
// Memory: the file's bytes, once more where they are UTF-16, the text of the sheet of a
// workbook, and some 45 bytes a row
// for the keys already seen. Rows are not kept.
package jobbook
