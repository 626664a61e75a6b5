package main

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// nameCmds are what stories of customers' names need besides the program.
var nameCmds = map[string]func(*testscript.TestScript, bool, []string){
	"knows":   knows,
	"nowhere": nowhere,
	"keyless": keyless,
	"gone":    gone,
}

// knows SHOP QUERY TEXT waits until a bench that others work beside finds
// something by a query, and says a text of it.
func knows(ts *testscript.TestScript, _ bool, args []string) {
	if !poll(func() bool {
		err := ts.Exec("oldhand", "past", args[1], "--shop", args[0])
		return err == nil && strings.Contains(ts.ReadFile("stdout"), args[2])
	}) {
		ts.Fatalf("%s does not come to know %s", args[0], args[2])
	}
}

// bytesOf are all bytes of a file, or of all files below a folder.
func bytesOf(ts *testscript.TestScript, path string) (all []byte) {
	ts.Check(filepath.WalkDir(ts.MkAbs(path), func(p string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		all = append(all, b...)
		return err
	}))
	if len(all) == 0 {
		ts.Fatalf("%s holds nothing", path)
	}
	return all
}

// nowhere PATH TEXT wants a text to stand in no file; with a ! in one.
func nowhere(ts *testscript.TestScript, neg bool, args []string) {
	if bytes.Contains(bytesOf(ts, args[0]), []byte(args[1])) != neg {
		ts.Fatalf("%q in %s: %v", args[1], args[0], !neg)
	}
}

// keyless SHOP PATH... wants no key of the shop's keyring, nor a half of one, to
// stand in any of the paths, raw or written out; with a ! it wants all there.
func keyless(ts *testscript.TestScript, neg bool, args []string) {
	keys := keysOf(ts, args[0])
	for _, path := range args[1:] {
		all := bytesOf(ts, path)
		for _, k := range keys {
			found := holds(all, k)
			if found != neg {
				ts.Fatalf("a key in %s: %v", path, found)
			}
		}
	}
}

// holds reports whether a key, or a half of one, stands among bytes, raw or
// written out.
func holds(all, k []byte) bool {
	found := bytes.Contains(all, k[:16]) || bytes.Contains(all, k[16:])
	for _, text := range []string{hex.EncodeToString(k), base64.StdEncoding.EncodeToString(k)} {
		found = found || bytes.Contains(all, []byte(text))
	}
	return found
}

// gone EXPORT SHOP wants keys that an export holds, and the shop's keyring does
// not, to stand in no file of the shop's folder, and those it has to stand there.
func gone(ts *testscript.TestScript, _ bool, args []string) {
	kept, all, n := keysOf(ts, args[1]), bytesOf(ts, args[1]), 0
	for _, k := range keysIn(ts, ts.ReadFile(args[0])) {
		has := slices.ContainsFunc(kept, func(o []byte) bool { return bytes.Equal(o, k) })
		if holds(all, k) != has {
			ts.Fatalf("a key in %s: %v, in its keyring: %v", args[1], !has, has)
		}
		if !has {
			n++
		}
	}
	if n == 0 {
		ts.Fatalf("no key of %s is gone from %s", args[0], args[1])
	}
}

// keysOf reads a bench's keyring from its export.
func keysOf(ts *testscript.TestScript, shop string) (keys [][]byte) {
	ts.Check(ts.Exec("oldhand", "export", "--with-keys", "--shop", shop))
	return keysIn(ts, ts.ReadFile("stdout"))
}

// keysIn reads the keys of an export.
func keysIn(ts *testscript.TestScript, export string) (keys [][]byte) {
	for line := range strings.Lines(export) {
		var e struct {
			Data struct{ Key []byte }
		}
		if !strings.Contains(line, `"id":"key-`) {
			continue
		}
		ts.Check(json.Unmarshal([]byte(line), &e))
		keys = append(keys, e.Data.Key)
	}
	if len(keys) == 0 || len(keys[0]) != 32 {
		ts.Fatalf("an export has no keys")
	}
	return keys
}
