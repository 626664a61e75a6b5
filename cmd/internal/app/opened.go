package app

import (
	"errors"
	"os"
	"path/filepath"
)

// Lend gives the shop to a command that runs in the process that has the folder
// open: with the options' In set to it, Open gives this folder, and closing it
// there leaves it open here.
func (s *Shop) Lend() *Shop {
	lent := *s
	lent.lent, lent.anew = true, madeAnew{}
	return &lent
}

// Veiled lends the shop to somebody who is not to see what customers are called:
// their names are sealed for whatever is asked through it.
func (s *Shop) Veiled() *Shop {
	lent := s.Lend()
	lent.veiled = true
	return lent
}

// isFolder reports whether the lent shop is the one in a folder.
func (s *Shop) isFolder(dir string) bool {
	if s.Dir == dir {
		return true
	}
	a, errA := os.Stat(s.Dir)
	b, errB := os.Stat(dir)
	return errA == nil && errB == nil && os.SameFile(a, b)
}

// HasFolder reports whether there is a shop in a folder.
func HasFolder(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, "shop.json"))
	return err == nil
}

// HostsNow reports whether a program of its own hosts from the folder.
func HostsNow(dir string) bool { return hostsNow(dir) }

// ErrLeftOpen is the cause where a program that runs beside the commands is kept
// out of the folder by one that keeps it.
var ErrLeftOpen = errors.New("the page of this shop runs and has its folder; stop this and start it again, and it works through the page")
