// Package figures measures the program beside its peers, in one run on one
// machine: a raw file, and SQLite with the same facts, the indexes they need,
// a write-ahead log and full syncs. It is a module of its own, so that the
// peers stay out of the program's. It needs a C compiler, for SQLite.
//
//	cd cmd/internal/figures && go test -bench . -benchtime 1x
//
// Each benchmark prints both sides and their ratio: a time alone says more
// about the machine than about the program.
package figures
