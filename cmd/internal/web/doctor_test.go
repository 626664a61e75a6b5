package web_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// backedUp writes a backup on the page and waits until it is tried out.
func backedUp(s *served, passphrase string) (file string) {
	s.t.Helper()
	file = filepath.Join(s.t.TempDir(), "front.backup")
	s.does("/backups", "write", url.Values{"file": {file}, "passphrase": {passphrase}, "again": {passphrase}})
	s.soon("/backups", "It was tried out: unpacked beside")
	return file
}

// drilled tries out the backup that the page proposes.
func drilled(s *served) {
	s.t.Helper()
	b := s.shop.Backups()
	s.does("/backups", "drill", url.Values{"file": {b.Last.File}})
	s.soon("/backups", "A bench was made of the backup")
}

// checkedWhole has everything be read and waits for it.
func checkedWhole(s *served) {
	s.t.Helper()
	s.does("/doctor", "whole", nil)
	s.soon("/doctor", "every chain whole", "Check everything now")
}

func TestACheckUpIsReadOnThePageAndAWholeOneGoesOnBeside(t *testing.T) {
	s := newShop(t)
	receive(t, s, "E17-17750")
	page := s.get("/doctor")
	wants(t, page, "to see to", "None was made of this folder", "What helps:", "oldhand backup write FILE", "None was made so far", "Begin one now")
	checkedWhole(s)
	wants(t, s.get("/doctor"), "The last one ended at", "all of it whole", "(as of ")
	if _, body := s.do(s.request(http.MethodGet, "/doctor/going", nil)); !strings.Contains(body, "Check-up") {
		t.Errorf("nothing goes on, and the part says %.300s", body)
	}
}

func TestTheWeeklyCheckCanBeBegunOnThePageAndItsEndIsSeenThere(t *testing.T) {
	s := newShop(t)
	receive(t, s, "E17-17750")
	b := openTab(t, s)
	b.goTo("/doctor")
	b.at("/doctor")
	b.do(chromedp.Click("#scrub button"))
	s.soon("/doctor", "The last one ended at")
	b.goTo("/doctor")
	b.until(`document.body.innerText.includes('all of it whole') && !document.querySelector('#going p')`)
	b.clean("Check-up")
}

func TestABackupIsWrittenTriedOutAndRememberedOnThePage(t *testing.T) {
	c := &clock{at: asOf}
	s := newShopAt(t, c.now)
	receive(t, s, "E17-17750")
	wants(t, s.get("/benches"), "Backup: None was made of this folder")
	file := backedUp(s, "a long sentence")
	wants(t, s.get("/backups"), file, "In it are", "1 unit with 1 visit", "oldhand backup restore "+file)
	if strings.Contains(s.get("/backups"), "It is not sealed") {
		t.Error("a sealed one is called open")
	}
	b, err := os.ReadFile(file)
	if err != nil || strings.Contains(string(b), "Lantern Street") {
		t.Errorf("%v: %d bytes, and the shop's name in clear", err, len(b))
	}
	receive(t, s, "B90-55354")
	s.does("/backups", "drill", url.Values{"file": {file}, "passphrase": {"another"}})
	s.soon("/backups", "this passphrase does not open it")
	s.does("/backups", "drill", url.Values{"file": {file}, "passphrase": {"a long sentence"}})
	s.soon("/backups", "All that it holds stands the same here, event for event; the digest is the one that it had", "came here since")
	c.forward(31 * 24 * time.Hour)
	wants(t, s.get("/benches"), "notice warn", "The last was made on")
}

func TestABackupThatCantBeSaysWhyAndShowsNoPassphraseAgain(t *testing.T) {
	s := newShop(t)
	file := filepath.Join(t.TempDir(), "a.backup")
	for why, typed := range map[string]url.Values{
		"is not the same passphrase": {"file": {file}, "passphrase": {"canary-word"}, "again": {"canary-wrod"}},
		"want the whole path":        {"file": {"a.backup"}, "passphrase": {"canary-word"}, "again": {"canary-word"}},
	} {
		status, body := s.tries("/backups", "write", typed)
		if status != http.StatusUnprocessableEntity || !strings.Contains(body, why) || strings.Contains(body, "canary") {
			t.Errorf("%s: status %d: %.3000s", why, status, body)
		}
	}
	s.does("/backups", "write", url.Values{"file": {filepath.Join(s.dir, "inside.backup")}})
	s.soon("/backups", "own folder, and would be lost with it")
	if _, err := os.Stat(filepath.Join(s.dir, "inside.backup")); err == nil {
		t.Error("it is there all the same")
	}
}
