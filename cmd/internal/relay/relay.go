package relay

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"
)

const (
	cardFile    = "serving.json"
	socketDir   = "serving"
	socketName  = "commands"
	longestPath = 100 // of a socket; systems take 104 to 108 bytes with the end
	dialFor     = 2 * time.Second
	pieceSize   = 32 << 10
)

// Card says where a folder is served.
type Card struct {
	Socket  string `json:"socket"`
	Page    string `json:"page"` // its address, without any secret
	Process int    `json:"process"`
}

// Call is a command as it was typed.
type Call struct {
	Args []string `json:"args"`
	From string   `json:"from"` // the folder it was typed in

	Terminal bool `json:"terminal"` // the answer is shown on one
	Plain    bool `json:"plain"`    // and no colours are wanted
}

// up goes from the command to the server, after the Call.
type up struct {
	In   []byte `json:"in,omitempty"`
	End  bool   `json:"end,omitempty"`  // of standard input
	Stop bool   `json:"stop,omitempty"` // the person pressed Ctrl-C
}

// down goes from the server to the command.
type down struct {
	Want bool   `json:"want,omitempty"` // standard input is read
	Out  []byte `json:"out,omitempty"`
	Err  []byte `json:"err,omitempty"`
	Exit *int   `json:"exit,omitempty"` // the last
}

// line sends values, one at a time.
type line struct {
	mu  sync.Mutex
	enc *json.Encoder
}

func (l *line) send(v any) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.enc.Encode(v)
}

// ReadCard reads where a folder is served. It is not there where it is not.
func ReadCard(dir string) (c Card, err error) {
	b, err := os.ReadFile(filepath.Join(dir, cardFile))
	if err == nil {
		err = json.Unmarshal(b, &c)
	}
	return c, err
}

// dial reaches the server of a folder; nil where none answers.
func dial(dir string) net.Conn {
	c, err := ReadCard(dir)
	if err != nil {
		return nil
	}
	conn, err := net.DialTimeout("unix", c.Socket, dialFor)
	if err != nil {
		return nil // it ended without taking its card away
	}
	return conn
}

// Served reports whether a folder is served by a process that answers.
func Served(dir string) bool {
	conn := dial(dir)
	if conn == nil {
		return false
	}
	_ = conn.Close() // it said nothing and was asked nothing
	return true
}

// layCard writes where a folder is served; readers see it whole.
func layCard(dir string, c Card) error {
	text, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return err
	}
	path := filepath.Join(dir, cardFile)
	if err := os.WriteFile(path+".new", append(text, '\n'), 0o600); err != nil {
		return err
	}
	return os.Rename(path+".new", path)
}

// place makes the folder that a socket lies in, and says how to take it away.
func place(dir string) (socket string, remove func() error, err error) {
	near, err := filepath.Abs(filepath.Join(dir, socketDir))
	if err != nil {
		return "", nil, err
	}
	if path := filepath.Join(near, socketName); len(path) <= longestPath {
		if err := os.MkdirAll(near, 0o700); err != nil {
			return "", nil, err
		}
		if err := os.Chmod(near, 0o700); err != nil {
			return "", nil, err
		}
		// Whoever comes here has the folder open: what lies there was left behind.
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", nil, err
		}
		return path, func() error { return os.Remove(near) }, nil
	}
	far, err := os.MkdirTemp("", "oldhand-")
	if err != nil {
		return "", nil, err
	}
	return filepath.Join(far, socketName), func() error { return os.Remove(far) }, nil
}

// writer sends what is printed.
type writer func(p []byte) down

type printing struct {
	to   *line
	make writer
}

func (p printing) Write(b []byte) (int, error) {
	for rest := b; len(rest) > 0; {
		n := min(len(rest), pieceSize)
		if err := p.to.send(p.make(rest[:n])); err != nil {
			return len(b) - len(rest), err
		}
		rest = rest[n:]
	}
	return len(b), nil
}

// typing reads standard input over the line, and asks for it at the first read:
// most commands read none, and must not take what was meant for the next.
type typing struct {
	to   *line
	once sync.Once
	from *io.PipeReader
}

func (t *typing) Read(p []byte) (int, error) {
	var err error
	t.once.Do(func() { err = t.to.send(down{Want: true}) })
	if err != nil {
		return 0, fmt.Errorf("read standard input over the line: %w", err)
	}
	return t.from.Read(p)
}
