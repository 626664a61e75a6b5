package meet_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/minio/highwayhash"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"pgregory.net/rapid"
)

// Ways in which a stopped host's folder comes to harm.

// files are the paths below the host's folder whose names fit a pattern.
func (h *hosted) files(t *rapid.T, pattern string) (paths []string) {
	must(t, filepath.WalkDir(h.folder(), func(p string, d fs.DirEntry, err error) error {
		if fits, _ := filepath.Match(pattern, d.Name()); err == nil && fits {
			paths = append(paths, p)
		}
		return err
	}))
	return paths
}

// spoil changes the first letter of a message's payload.
func (h *hosted) spoil(t *rapid.T, payload []byte) {
	payload = payload[:min(len(payload), 64)]
	for _, path := range h.files(t, "*.blk") {
		b, err := os.ReadFile(path)
		must(t, err)
		if i := bytes.Index(b, payload[9:]); i >= 0 { // its first bytes may be spoiled already
			b[i-9] = 'P'
			must(t, os.WriteFile(path, b, 0o600))
			return
		}
	}
	t.Fatalf("%.40q is in no block", payload)
}

// forgetIndex takes the store's index away, as a kill before it was ever written
// leaves it.
func (h *hosted) forgetIndex(t *rapid.T) {
	for _, path := range h.files(t, "index.db") {
		must(t, os.Remove(path))
	}
}

// takeOut deletes a message, which no bench may and no host does: another server
// opens the folder, once the stream's settings are written to allow it.
func (h *hosted) takeOut(t *rapid.T, number uint64) {
	streams := slices.DeleteFunc(h.files(t, "meta.inf"), func(p string) bool {
		return strings.Contains(p, "OLDHAND-KEYS-") || strings.Contains(p, "OLDHAND-PIECES-")
	})
	stream := filepath.Dir(streams[0])
	account := filepath.Base(filepath.Dir(filepath.Dir(stream)))
	allowDeleting(t, stream)
	opt := &server.Options{DontListen: true, JetStream: true, StoreDir: filepath.Join(h.folder(), "store"), NoSigs: true, NoLog: true, SyncAlways: true}
	must(t, opt.ProcessConfigString(fmt.Sprintf("accounts { %s { jetstream: enabled, users: [ { user: owner, password: disk } ] } }", account)))
	srv, err := server.NewServer(opt)
	must(t, err)
	defer func() { srv.Shutdown(); srv.WaitForShutdown() }()
	srv.Start()
	if !srv.ReadyForConnections(10 * time.Second) {
		t.Fatal("the server that deletes is not ready")
	}
	conn, err := nats.Connect("", nats.InProcessServer(srv), nats.UserInfo("owner", "disk"))
	must(t, err)
	defer conn.Close()
	js, err := jetstream.New(conn)
	must(t, err)
	s, err := js.Stream(context.Background(), filepath.Base(stream))
	must(t, err)
	must(t, s.SecureDeleteMsg(context.Background(), number)) // what is only marked as deleted comes back with the index gone
}

// allowDeleting changes the stream's settings and their sum, as the store keeps
// them: the sum is keyed with the hash of the stream's name.
func allowDeleting(t *rapid.T, stream string) {
	path := filepath.Join(stream, "meta.inf")
	b, err := os.ReadFile(path)
	must(t, err)
	b = bytes.Replace(b, []byte(`"deny_delete":true`), []byte(`"deny_delete":false`), 1)
	key := sha256.Sum256([]byte(filepath.Base(stream)))
	sum, err := highwayhash.New64(key[:])
	must(t, err)
	sum.Write(b)
	must(t, os.WriteFile(path, b, 0o600))
	must(t, os.WriteFile(filepath.Join(stream, "meta.sum"), []byte(hex.EncodeToString(sum.Sum(nil))), 0o600))
}
