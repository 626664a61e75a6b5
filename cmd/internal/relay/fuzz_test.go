package relay_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/cmd/internal/relay"
)

// Anything may come over the socket from whoever may enter the folder. The server
// stays up and serves the next, and a command runs only where a whole call came.
func FuzzServe(f *testing.F) {
	f.Add([]byte(`{"args":["past","10019"],"from":"/there"}`))
	f.Add([]byte(`{"args":["read"]} {"in":"aGVsbG8="} {"end":true}`))
	f.Add([]byte(`{"args":["read"]} {"in":"!"}`))
	f.Add([]byte(`{"args":[`))
	f.Add([]byte("\x00\xff"))
	f.Add([]byte(`{"args":["read"]} {"stop":true}`))
	dir := f.TempDir()
	ran := make(chan relay.Call, 100)
	s, err := relay.Serve(dir, "http://127.0.0.1:1/", func(_ context.Context, c relay.Call, in io.Reader, out, _ io.Writer) int {
		if len(c.Args) > 0 && c.Args[0] == "read" {
			_, _ = io.Copy(out, in)
		}
		ran <- c
		return 0
	})
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = s.Close() })
	card, err := relay.ReadCard(dir)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, said []byte) {
		conn, err := net.Dial("unix", card.Socket)
		if err != nil {
			t.Fatalf("the server is gone: %v", err)
		}
		defer conn.Close()
		if err := conn.SetDeadline(time.Now().Add(20 * time.Second)); err != nil {
			t.Fatal(err)
		}
		if _, err := conn.Write(said); err == nil {
			_ = conn.(*net.UnixConn).CloseWrite()
		}
		answer, err := io.ReadAll(conn)
		if errors.Is(err, os.ErrDeadlineExceeded) {
			t.Fatalf("%q: the server does not end it", said)
		}
		if n := len(ran); n > 1 || n == 0 && bytes.Contains(answer, []byte(`"exit"`)) {
			t.Fatalf("%q: %d commands ran, answered %q", said, n, answer)
		}
		for len(ran) > 0 {
			if c := <-ran; !bytes.Contains(said, []byte("{")) {
				t.Fatalf("%q is taken for the call %+v", said, c)
			}
		}
	})
}

// The server may be another program's by now: whatever it answers, the command ends,
// prints no more than came, and says that the outcome is not known where no exit code
// came.
func FuzzAnswer(f *testing.F) {
	f.Add([]byte(`{"out":"aGVsbG8="}{"exit":3}`))
	f.Add([]byte(`{"want":true}{"err":"aGVsbG8="}`))
	f.Add([]byte(`{"exit":`))
	f.Add([]byte("HTTP/1.1 400 Bad Request\r\n\r\n"))
	dir := f.TempDir()
	socket := filepath.Join(dir, "s")
	l, err := net.Listen("unix", socket)
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = l.Close() })
	if err := os.WriteFile(filepath.Join(dir, "serving.json"), []byte(`{"socket":"`+socket+`"}`), 0o600); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, answer []byte) {
		go func() {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			_, _ = conn.Write(answer)
			_ = conn.(*net.UnixConn).CloseWrite()
			_, _ = io.Copy(io.Discard, conn)
			_ = conn.Close()
		}()
		var out, errOut bytes.Buffer
		_, asked, err := relay.Ask(dir, relay.Call{Args: []string{"past"}}, bytes.NewReader([]byte("typed")), &out, &errOut)
		if !asked {
			t.Fatal("it was not asked")
		}
		if out.Len()+errOut.Len() > len(answer) {
			t.Fatalf("%d bytes printed of %d", out.Len()+errOut.Len(), len(answer))
		}
		if err == nil && !bytes.Contains(bytes.ToLower(answer), []byte("exit")) {
			t.Fatalf("%q passes for an exit code", answer)
		}
		if err != nil && !errors.Is(err, relay.ErrBroken) {
			t.Fatalf("an error of no kind: %v", err)
		}
	})
}

// A card that was left behind, or that another hand wrote, is one, or nobody serves.
func FuzzReadCard(f *testing.F) {
	f.Add([]byte(`{"socket":"/run/x","page":"http://127.0.0.1:1/","process":4}`))
	f.Add([]byte(`{"process":1e99}`))
	f.Add([]byte{})
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		if err := os.WriteFile(filepath.Join(dir, "serving.json"), b, 0o600); err != nil {
			t.Fatal(err)
		}
		c, err := relay.ReadCard(dir)
		if err != nil && c.Socket != "" && c.Process != 0 && c.Page != "" {
			t.Fatalf("%q is refused (%v) and read as %+v", b, err, c)
		}
		if err == nil && c.Socket != "" && !bytes.Contains(b, []byte("ocket")) && !bytes.Contains(bytes.ToLower(b), []byte("socket")) {
			t.Fatalf("%q is read as %+v", b, c)
		}
	})
}
