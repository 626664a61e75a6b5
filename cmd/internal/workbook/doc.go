// Package workbook reads the sheets of a workbook (.xlsx) as rows of text: what a
// person sees in the cells, but for dates, which come as ISO 8601 has them.
//
// The parts are read here, after the public standard (ECMA-376, part 1), and not by
// the library that writes our workbooks and lends this package its number formats.
// That library goes on where a part breaks off or a text is missing from the table
// of texts, and gives what it has so far as the whole; a row of an old book that
// disappears without a word is never looked for. It also puts a large sheet down in
// the system's folder for temporary files, where customers' names have no business.
//
// A sheet is streamed: out of the packed file through the decoder to the caller, row
// by row, in one pass. Only the table of texts and the list of formats stay in memory.
//
// # What a cell says
//
//   - A date is a number with a date's format. Its day is counted from 1900 or from
//     1904, as the workbook says; times follow where the format has hours. The
//     library would give it in the spelling of the United States, whatever the sheet
//     shows.
//   - A number with zeros before it, a currency or a fixed number of places is as it
//     is shown, without the signs that part thousands, which nobody typed.
//   - Any other number has all its figures, also where the sheet shows 1.23E+11. A
//     spreadsheet keeps fifteen of them; a longer number says so with its row.
//   - A formula is the value that was kept with it. Where none was, the row is broken:
//     an empty cell in its place would be a guess.
//
// # Limits
//
// A part unpacks to at most mostUnpacked bytes, whatever it says of itself; elements
// nest to mostDeep; the texts of a sheet come to at most mostText bytes, since a short
// cell can name a long text again and again.
package workbook
