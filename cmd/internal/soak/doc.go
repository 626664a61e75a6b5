// Command soak has three benches work for an hour as a shop does, while what happens to
// laptops happens to them, and says at the end what was lost, what was left behind and
// what grew:
//
//	go run ./cmd/internal/soak -for 1h -samples hour.csv
//
// Its exit code is 0 where nothing was wrong, 1 where something was; then the folders are
// kept and the seed is said. Ctrl-C ends the work early and goes on to the end.
//
// # What runs
//
// Three processes of the real program serve a page each, in folders of their own. The
// first hosts the exchange, the other two were let in by join codes and stay with it. The
// binary is this one, which is the program where its environment names a clock
// (program.go): that is how a bench's clock can be wrong. It shows nothing on the local
// network and looks for nothing there; other benches may be about.
//
// At each bench two people work (person.go): one by the page's forms (deeds.go), one by
// commands that go through the page's process (commands.go). What they do next, a seed
// decides; when it happens, the machine as well, so that a seed does not repeat a run to
// the letter. Beside them an open page waits for news, and backups are written and tried
// out.
//
// # What happens to them
//
// faults.go has the table: a process is killed or stopped and started again, frozen for a
// while, nobody hosts, a bench is away, a clock jumps by hours, a command is killed. The
// last bench's folder is on a small disk of its own, if this machine lets one be mounted
// (Linux, as root), which is filled up and emptied again; else that part is left out and
// said to be. Through the second half only the last bench's process ends: the others are
// to show what a process holds that runs for long.
//
// A deed that a fault came between is excused (bench.mood); anything else that is refused
// is wrong, since each person works on units of its own. A form that was not answered is
// sent again as it was, as by somebody who loads the page anew.
//
// # What is wanted
//
// While it goes on: no page but of the classes of refusal (a 503 only on a full disk, a
// 502 only where the others are away); a unit that was taken in is found, also with two
// figures swapped; no process ends by itself, but on its full disk; on that nothing is
// said to be saved, looking goes on, and saving works again once there is room. After
// each kill the bench has all that it said is saved (ledger.go).
//
// At the end, with all faults off: the benches come to hold the same; what is kept follows
// from the events as it does when it is made anew, and all have one digest, before and
// after they were told to rebuild; everything that was ever said to be saved is at every
// bench, and nothing is there twice; who was forgotten is found nowhere; after a rest
// each process has no more goroutines and open files than after its start (judge.go says
// what is allowed, and why); in the second half its memory was flat, by a rule that
// stands there too; nothing was said on standard error that nobody expects.
//
// # What it does not see
//
// A kill leaves to the system what was written and not synced: what a power cut takes is
// the business of the log's own tests, on a disk that forgets. What grows by less than
// the room that the rule leaves in half an hour is not seen either.
package main
