package main

import (
	"bytes"
	"os"
	"strings"
	"testing"
)

const list = `
# a remark
GO-2026-6809 v1.26.10 whom we speak to is known by a key # another
`

// told runs the command with a list over what govulncheck v1.9.0 wrote about this
// program, cut to two faults: one in a function that is called, one in a package
// only.
func told(t *testing.T, list string, found []byte) (string, error) {
	t.Helper()
	path := t.TempDir() + "/list"
	if err := os.WriteFile(path, []byte(list), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	err := run([]string{path}, bytes.NewReader(found), &out)
	return out.String(), err
}

func found(t *testing.T) []byte {
	t.Helper()
	b, err := os.ReadFile("testdata/govulncheck.json")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestWhatIsAcceptedPassesAndIsTold(t *testing.T) {
	out, err := told(t, list, found(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"accepted    GO-2026-6809 until v1.26.10: whom we speak to is known by a key\n",
		"not called  GO-2026-6604 stdlib: Root.Mkdir(All) can follow junctions out of the root on Windows in os\n",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
}

func TestWhatIsReachedAndNotAcceptedFails(t *testing.T) {
	for name, c := range map[string]struct{ list, want string }{
		"an empty list":       {"", "GO-2026-6809 in stdlib is reached and not accepted"},
		"another fault":       {"GO-2026-1 v1.26.9 one two three\n", "GO-2026-6809 in stdlib is reached"},
		"mended elsewhere":    {"GO-2026-6809 v1.26.9 one two three\n", "accepted as mended in v1.26.9, and is mended in v1.26.10"},
		"without a reason":    {"GO-2026-6809 v1.26.10\n", "line 1: GO-2026-6809 wants the version"},
		"twice":               {list + list, "stands twice"},
		"no id":               {"CVE-2026-1 v1 one two three\n", "no id of a fault"},
		"no version, a fault": {"GO-2026-6809 because it is so\n", "accepted as mended in because"},
	} {
		if out, err := told(t, c.list, found(t)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q\n%s", name, err, c.want, out)
		}
	}
}

// A run that never looked finds nothing, and must not pass for one that did.
func TestOutputOfARunThatDidNotLookIsNoAnswer(t *testing.T) {
	for name, b := range map[string][]byte{
		"nothing":   {},
		"cut short": found(t)[:700],
		"no calls":  bytes.Replace(found(t), []byte(`"scan_level": "symbol"`), []byte(`"scan_level": "module"`), 1),
		"no JSON":   []byte("govulncheck: no such database"),
	} {
		if out, err := told(t, list, b); err == nil {
			t.Errorf("%s: passes\n%s", name, out)
		}
	}
}

func TestWhatIsNotFoundAnyMoreIsTold(t *testing.T) {
	out, err := told(t, list+"GO-2020-1 v1.2.3 it was so once\n", found(t))
	if err != nil || !strings.Contains(out, "not found   GO-2020-1") {
		t.Errorf("%v\n%s", err, out)
	}
}
