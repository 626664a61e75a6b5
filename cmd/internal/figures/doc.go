// Command figures measures the program beside its peers, in one run on one machine, and
// prints one table. It is a module of its own, so that the peers stay out of the
// program's. It needs a C compiler and a C++ library.
//
//	cd cmd/internal/figures && go run . -units 68000 -cache FOLDER -json FILE
//	cd cmd/internal/figures && go run . -growth -cache FOLDER -json FILE -svg PICTURE
//
// A unit has about 14.7 events, so 68000 units are a million. A row has ours, a
// peer's, the ratio of the two, the goal, whether it is met, and how many rounds
// there were. A time alone says more about the machine than about the program:
// both sides are measured in each round, one after the other, and the ratio of a row
// is the median of the rounds' ratios. A row is printed as soon as it is known. With
// -json it is kept too, so that a run that was cut off is gone on with by -only,
// which names the parts that are left. A row that can't be measured says why, and
// the others go on; then the command ends with 1.
//
// # Parts
//
// parts in main.go is the table of what is measured; each has a file of its own and
// a function of a turn (turn.go). A turn has the methods that a benchmark has, and
// leaves nothing behind. What parts share is in stock (stock.go): the shop of one
// size as the folder of the bench that founded it, a bench that was let join and
// has nothing yet, that bench with all, an exchange, a bundle, a job book, and the
// peers' files. Each is made once, the first time it is asked for, with -cache for
// other runs too, and whoever writes takes a copy, whose large files are links. The
// stock is thrown away when projections.Version is another; when the invented shop
// itself or a peer's tables change, the folder has to be emptied by hand.
//
// The program is measured by its highest way: a bench joins by app.Shop.Meet and
// ReadBundle, and has all that follows from the events when its time is over. Only
// what one event takes to another bench is measured a room lower, with two benches of
// this process that meet all the while as a page that hosts does.
//
// # Peers
//
// A raw file that is synced. SQLite with the same facts, the indexes they need, a
// write-ahead log and full syncs. A JetStream server with nothing around it, which
// does what an exchange can't do less than: it stores messages of the same sizes,
// synced, and hands them out. JSON Lines, packed.
//
// The fleet questions are asked of two peers over tables of rows, a row for each
// visit, fault, part, wait, bill and reading: SQLite with an index for each question,
// and DuckDB, which keeps columns, on two threads. The peers count what an answer is
// drawn from and leave out what is computed from the counts. Before a peer is timed
// its counts are compared with ours; a question on which they differ fails, since the
// times would be of two different things. Questions about some units or visits have rows
// of their own, since ours goes through histories for them. Both are spared the work
// that ours has with every event: their rows are exported from histories that are
// already told, and never change.
//
// # The program itself
//
// This command is linked with C for its peers, and the store then keeps blocks in
// C's memory and packs tables with C's code, which the program does not. So memory and
// pages are measured of the program as a shop has it, made without cgo and run as a
// process for each figure: this command starts itself once more with the first word
// "alone", small and with nothing opened, and that starts the program, browses it
// where it serves, and asks the system what it had resident at most. The rows that end
// in "the program itself" are the speed of those runs, start and end included.
//
// # Growth
//
// -growth measures the same costs on shops of several sizes, prints them in columns
// and draws them on two logarithms. A cost grows with the log where its line rises
// by 0.3 or more over the last hundredfold: rebuild and catch-up go through the whole
// log and may, nothing else should. Sizes that another run put into the file of -json
// are in the columns and in the picture too, so that ten million events, which take
// long, can be a run of their own: -sizes 10000000.
package main
