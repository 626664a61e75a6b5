package relay

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"syscall"
)

// ErrBroken is returned when the line broke before the command's end was told:
// whether it did what it was to do is not known.
var ErrBroken = errors.New("the page ended before it said what came of this; look whether it was saved before you say it again")

// Ask has a command run where the folder is open. It was not asked where nobody
// serves the folder.
func Ask(dir string, c Call, in io.Reader, out, errOut io.Writer) (exit int, asked bool, err error) {
	conn := dial(dir)
	if conn == nil {
		return 0, false, nil
	}
	defer conn.Close()
	to := &line{enc: json.NewEncoder(conn)}
	if err := to.send(c); err != nil {
		return 0, false, nil // it ended just now, before it heard anything
	}
	defer passStop(to)()
	exit, err = listen(conn, to, in, out, errOut)
	return exit, true, err
}

// passStop passes the first Ctrl-C on; the second ends this process.
func passStop(to *line) (end func()) {
	stop, done := make(chan os.Signal, 1), make(chan struct{})
	signal.Notify(stop, os.Interrupt, syscall.SIGTERM)
	go func() {
		select {
		case <-stop:
			signal.Stop(stop)
			_ = to.send(up{Stop: true}) // a broken line is seen by who listens
		case <-done:
		}
	}()
	return func() {
		signal.Stop(stop)
		close(done)
	}
}

// listen prints what comes until the exit code does.
func listen(conn net.Conn, to *line, in io.Reader, out, errOut io.Writer) (int, error) {
	dec := json.NewDecoder(conn)
	for giving := false; ; {
		var d down
		if err := dec.Decode(&d); err != nil {
			return 0, ErrBroken
		}
		if d.Want && !giving { // whatever answers may ask twice; one goroutine reads
			giving = true
			go give(to, in)
		}
		for _, p := range []struct {
			to   io.Writer
			what []byte
		}{{out, d.Out}, {errOut, d.Err}} {
			if _, err := p.to.Write(p.what); len(p.what) > 0 && err != nil {
				return 0, fmt.Errorf("print what the page answered: %w", err)
			}
		}
		if d.Exit != nil {
			return *d.Exit, nil
		}
	}
}

// give sends standard input.
func give(to *line, in io.Reader) {
	b := make([]byte, pieceSize)
	for {
		n, err := in.Read(b)
		if n > 0 && to.send(up{In: b[:n]}) != nil {
			return
		}
		if err != nil {
			_ = to.send(up{End: true}) // a broken line is seen by who listens
			return
		}
	}
}
