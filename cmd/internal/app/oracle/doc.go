// Package oracle holds no code of the program. Its tests work the answers to
// the fleet questions out a second time, by a way that shares nothing with
// package projections, and compare every row.
//
// A shop goes through its own export as JSON Lines into a database of plain
// tables. What stands among corrections and withdrawals is read off by the rule
// in a few lines of Go; which ids are one set, which visits there were and how
// they ended is said in SQL (testdata/*.sql), as are the counts. Curves and
// intervals are the formulas as they stand in a handbook, written for brevity
// and not for speed.
//
// The shops are the invented one of package demo, the old job book with what is
// known to be true of it, real repair data, and a few so small that each number
// is worked out by hand beside the test. A number that both ways could have
// wrong alike is therefore checked against one that neither of them made.
//
// Of an answer's columns only the shares shrunk towards a prior are left out:
// package stats checks the fit behind them against published values.
package oracle
