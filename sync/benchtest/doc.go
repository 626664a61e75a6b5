// Package benchtest is a whole shop in one process, for tests: laptops with real
// logs on disks in memory, clocks of their own, exchanges and sticks, and what
// goes wrong with each, all drawn from one seed. Nothing in it runs by itself:
// Step does one thing, so a seed always gives the same story (P16).
//
// # What happens
//
// Laptops write, meet an exchange, read, give, and carry sticks, which are
// bundles, also old, cut or damaged ones. They crash, also in the middle of what
// they do, are put back to older copies of their disk, with the memory of the
// running machine too, and are cloned, with that or without (F11, F12). Their
// clocks jump. Exchanges are made anew, put back, damaged and littered. The owner
// admits, retires and begins keys, at whichever laptop he sits. A thief with a
// bench's key signs what he likes. Some laptops run a newer program (F27). A world
// has some of these faults, each with a rate of its own.
//
// # What is checked
//
// After each step, of the laptop it was about: feeds only grow (P3); no two events
// in one place but where no rule can prevent it (P6); nothing in the log that
// was never written (P10) or does not count (P12); after a crash, what was acked
// is there (P1) and no mark claims more than the log has. Now and then: the
// roster is what the events say (P12), what is aside is bounded (P14), and who
// says that he is level is (P9).
//
// Then all heals, and everybody holds everything (P4), knows it (P9), and an
// exchange alone, and a stick alone, fills a new bench (P8). Everything is every
// branch of every feed, in the log (P6).
//
// The model of an exchange does what the real one does as far as a bench can
// tell; package exchange holds the two beside each other.
package benchtest
