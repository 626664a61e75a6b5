// Package figures measures the program beside its peers, in one run on one
// machine: a raw file, and SQLite with the same facts, the indexes they need,
// a write-ahead log and full syncs. It is a module of its own, so that the
// peers stay out of the program's. It needs a C compiler and a C++ library.
//
//	cd cmd/internal/figures && go test -bench . -benchtime 1x
//
// Each benchmark prints both sides and their ratio: a time alone says more
// about the machine than about the program.
//
// The fleet questions are asked of two peers over tables of rows, a row for
// each visit, fault, part, wait and bill: SQLite with an index for each
// question, and DuckDB, which keeps columns, on two threads. The peers count
// what an answer is drawn from and leave out what is computed from the counts.
// Before a peer is timed its counts are compared with ours; one that differs
// fails the benchmark, since the times would be of two different things. Both
// are spared the work that ours has with every event: their rows are
// exported from histories that are already told, and never change.
//
// The answers' shop is not kept in memory, so it may be large; a unit has about
// 14.7 events:
//
//	go test -bench Answers -benchtime 1x -timeout 30m -units 680000
//
// Of sync there are Meeting, Wire and Years. Their third peer is a JetStream
// server with nothing around it, which does what an exchange can't do less than:
// it stores messages of the same sizes, synced, and hands them out. A bench that
// catches up makes its projections as package app has it, and that is in its
// time.
package figures
