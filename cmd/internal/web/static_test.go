package web

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"regexp"
	"strings"
	"testing"
)

// What was brought in from elsewhere is what VENDOR says, to the byte.
func TestVendoredFilesAreWhatTheyClaim(t *testing.T) {
	rows := 0
	for _, list := range []string{"static/VENDOR", "testdata/VENDOR"} {
		text, err := os.ReadFile(list)
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range strings.Split(strings.TrimSpace(string(text)), "\n")[1:] {
			f := strings.Fields(row)
			b, err := os.ReadFile(list[:strings.IndexByte(list, '/')+1] + f[0])
			if err != nil {
				t.Fatal(err)
			}
			sum := sha256.Sum256(b)
			if got := hex.EncodeToString(sum[:]); got != f[len(f)-1] {
				t.Errorf("%s: sha256 %s, want %s", f[0], got, f[len(f)-1])
			}
			rows++
		}
	}
	if rows != 2 {
		t.Errorf("%d files checked", rows)
	}
}

// The policy of every page lets no script and no style into it.
func TestTemplatesHaveNoScriptAndNoStyleInThem(t *testing.T) {
	bad := regexp.MustCompile(`(?i)\son[a-z]+\s*=|\sstyle\s*=|<style|<script>|javascript:|hx-on|https?://`)
	entries, err := os.ReadDir("templates")
	if err != nil || len(entries) < 5 {
		t.Fatal(err, len(entries))
	}
	for _, e := range entries {
		b, err := os.ReadFile("templates/" + e.Name())
		if err != nil {
			t.Fatal(err)
		}
		if found := bad.Find(b); found != nil {
			t.Errorf("%s has %q", e.Name(), found)
		}
	}
}

func TestEveryPageHasATemplateAndAnAddress(t *testing.T) {
	l, err := newLook()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range pages() {
		if p.do == nil || seen[p.method+p.at] {
			t.Errorf("%s %s does nothing, or stands there twice", p.method, p.at)
		}
		seen[p.method+p.at] = true
		if p.name != "" && l.pages[p.name] == nil {
			t.Errorf("page %s has no template", p.name)
		}
	}
}
