package web_test

import (
	"net/http"
	"net/url"
	"testing"
)

// Photos go from one bench's page to another's in a file: written by a button, looked
// at, and taken where an entry names them.
func TestPhotosAreCarriedInAFileFromPageToPage(t *testing.T) {
	front := newShop(t)
	front.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	tag := receive(t, front, "E17-17750")
	attic := joined(t, front, "attic")
	front.does("/benches", "unhost", nil)
	if status, page := front.attaches(tag, nil, named{"door.jpg", snapshot(t, "behind the mill", 400, 300)}); status != http.StatusOK {
		t.Fatalf("status %d: %.1000s", status, page)
	}
	wants(t, front.get("/benches"), "Write the photos and recordings")
	file := front.download("/benches/bundle/photos", nil)
	take := func(file []byte, name, words string) {
		t.Helper()
		page := attic.upload("/benches/bundle/look", name, file)
		wants(t, attic.get(page), "What is in "+name, "Nothing of it was taken yet")
		wants(t, attic.does(page, "take", nil), words)
	}
	take(file, "stick.oh.photos", "0 photos and recordings taken") // no entry here names any
	take(front.download("/benches/bundle", nil), "stick.oh", "stick.oh is read: 1 event taken")
	take(file, "stick.oh.photos", "1 photo or recording taken")
	wants(t, attic.get("/unit/"+tag+"/files"), "door.jpg", "/file/")
	status, _, body := attic.sendFile("/benches/bundle/look", "theirs.photos", newShop(t).download("/benches/bundle/photos", nil), nil)
	if status != http.StatusUnprocessableEntity {
		t.Errorf("a file of another shop: status %d", status)
	}
	wants(t, string(body), "is another shop&#39;s bundle")
}
