package relay

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// Run runs a command. The context ends when the person stops it.
type Run func(ctx context.Context, c Call, in io.Reader, out, errOut io.Writer) (exit int)

// Server runs commands that come over the socket.
type Server struct {
	dir    string
	listen net.Listener
	remove func() error
	run    Run
	ctx    context.Context
	cancel context.CancelFunc
	calls  sync.WaitGroup
}

// Serve begins to take commands for a folder. The caller has the folder open.
func Serve(dir, page string, run Run) (*Server, error) {
	socket, remove, err := place(dir)
	if err != nil {
		return nil, err
	}
	l, err := net.Listen("unix", socket)
	if err != nil {
		return nil, errors.Join(err, remove())
	}
	s := &Server{dir: dir, listen: l, remove: remove, run: run}
	s.ctx, s.cancel = context.WithCancel(context.Background())
	err = os.Chmod(socket, 0o600)
	if err == nil {
		err = layCard(dir, Card{socket, page, os.Getpid()})
	}
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	s.calls.Go(s.accept)
	return s, nil
}

func (s *Server) accept() {
	for {
		conn, err := s.listen.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			time.Sleep(50 * time.Millisecond) // no file left, as a rule; the next may do
			continue
		}
		s.calls.Go(func() { s.serve(conn) })
	}
}

// callWithin is how long a caller may take to say what it wants.
const callWithin = 10 * time.Second

func (s *Server) serve(conn net.Conn) {
	defer conn.Close()
	ctx, stop := context.WithCancel(s.ctx)
	defer stop()
	defer context.AfterFunc(ctx, func() { _ = conn.SetReadDeadline(time.Now()) })()
	dec := json.NewDecoder(conn)
	var c Call
	if conn.SetReadDeadline(time.Now().Add(callWithin)) != nil || dec.Decode(&c) != nil || conn.SetReadDeadline(time.Time{}) != nil {
		return // it only wanted to know whether somebody is here
	}
	to := &line{enc: json.NewEncoder(conn)}
	r, w := io.Pipe()
	go func() {
		hear(dec, w)
		stop() // Ctrl-C, or nobody is there any more
	}()
	in := &typing{to: to, from: r}
	exit := s.runOne(ctx, c, in, printing{to, func(p []byte) down { return down{Out: p} }}, printing{to, func(p []byte) down { return down{Err: p} }})
	_ = r.Close()
	_ = to.send(down{Exit: &exit}) // who is gone needs no answer
}

// runOne keeps the process up when a command falls over: others are served by it.
func (s *Server) runOne(ctx context.Context, c Call, in io.Reader, out, errOut io.Writer) (exit int) {
	defer func() {
		if r := recover(); r != nil {
			_, _ = io.WriteString(errOut, "oldhand: the command fell over; the page goes on\n")
			exit = 1
		}
	}()
	return s.run(ctx, c, in, out, errOut)
}

// hear passes what comes of standard input on, until the person stops.
func hear(dec *json.Decoder, in *io.PipeWriter) {
	for {
		var u up
		if err := dec.Decode(&u); err != nil || u.Stop {
			_ = in.CloseWithError(io.ErrUnexpectedEOF)
			return
		}
		if len(u.In) > 0 {
			_, _ = in.Write(u.In) // a command that reads no further has closed it
		}
		if u.End {
			_ = in.Close()
		}
	}
}

// Close stops the commands that run and takes no more.
func (s *Server) Close() error {
	err := os.Remove(filepath.Join(s.dir, cardFile))
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	err = errors.Join(err, s.listen.Close())
	s.cancel()
	s.calls.Wait()
	_ = s.remove() // an empty folder that stays does no harm
	return err
}
