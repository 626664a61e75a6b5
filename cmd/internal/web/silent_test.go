package web_test

import (
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// The page says how long the others are silent, what helps, and where that can't be
// told; no page is missing for a file that holds no entry.
func TestThePageSaysHowLongTheOthersAreSilentAndWhereItCantTell(t *testing.T) {
	c := &clock{at: asOf}
	front := newShopAt(t, c.now)
	front.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	joined(t, front, "attic")
	front.soon("/benches", "This bench met the others last at")
	front.does("/benches", "unhost", nil)
	c.forward(15 * 24 * time.Hour)
	wants(t, front.get("/doctor"), "<h2>Meeting</h2>", "This bench met the others last at "+asOf.Local().Format("2006-01-02"), "carry a file each way: oldhand bundle write, oldhand bundle read")
	c.forward(60 * 24 * time.Hour)
	wants(t, front.get("/doctor"), "<h2>Bench attic</h2>", "Nothing that was recorded there ever came here, and it was let in on "+asOf.Local().Format(time.DateOnly), "oldhand retire attic")

	for name, pages := range map[string]map[string]string{
		"met.json":       {"/doctor": "It can&#39;t be told when this bench met the others last", "/benches": "It can&#39;t be told when this bench met the others last"},
		"exchanges.json": {"/doctor": "This bench does not know any more where the benches meet", "/cluster": "This bench does not know any more where the benches meet", "/benches": "Bring one in"},
		"backups.json":   {"/doctor": "Which were made of this folder can&#39;t be told", "/backups": "Which were made of this folder can&#39;t be told", "/benches": "Which were made of this folder can&#39;t be told"},
		"lan.json":       {"/doctor": "who may use it from a phone or tablet"},
	} {
		path := filepath.Join(front.dir, name)
		if err := os.WriteFile(path, []byte(`[{"at`), 0o600); err != nil {
			t.Fatal(err)
		}
		for page, says := range pages {
			wants(t, front.get(page), says)
		}
		wants(t, front.get("/doctor"), path+" can&#39;t be read")
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
}
