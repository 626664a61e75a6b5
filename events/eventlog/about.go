package eventlog

import (
	"errors"
	"io/fs"
	"os"
	"time"
)

// About is what a check-up asks a log about itself.
type About struct {
	Format    byte      // of the store; this program reads up to StoreFormat
	Witness   string    // the file that remembers outside of the folder what was saved last; empty for none
	Witnessed bool      // it is there and whole
	Ballast   bool      // there is a file to give up when the disk is full
	Last      time.Time // the highest stamp that was given or came, in UTC; zero for none
}

// About tells it. A witness that can't be read is none.
func (l *Log) About() (a About, err error) {
	v, err := l.View() // holds the store open meanwhile
	if err != nil {
		return a, err
	}
	defer v.Close()
	format, err := l.getMeta(metaFormat)
	if err != nil {
		return a, err
	}
	if len(format) == 1 {
		a.Format = format[0]
	}
	a.Witness = l.witness.path
	if b, err := os.ReadFile(a.Witness); err == nil {
		_, a.Witnessed = readWitness(b)
	} else if a.Witness != "" && !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, fs.ErrPermission) {
		return a, err
	}
	if _, err := l.opt.FS.Stat(l.ballast.path); err == nil {
		a.Ballast = true
	}
	if last := l.clock.Last(); last > 0 {
		a.Last = last.Time()
	}
	return a, nil
}
