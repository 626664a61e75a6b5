package web_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
)

// A shop with very many sets on its benches goes through them in parts.
func TestManyUnitsOnTheBenchesAreShownInParts(t *testing.T) {
	s := newShop(t)
	var tags []string
	for n := range 65 {
		tags = append(tags, receive(t, s, fmt.Sprintf("Q%02d-%05d", n, 10000+517*n)))
	}
	first, second := s.get("/"), s.get("/?from=60")
	wants(t, first, "65 units on the benches; of the 60 shown here", `href="/?from=60">61 to 65</a>`)
	wants(t, second, `aria-current="page">61 to 65</a>`, `hx-get="/?from=60"`)
	for n, tag := range tags {
		for page, want := range map[string]bool{first: n < 60, second: n >= 60} {
			if got := strings.Contains(page, ">"+tag+"</span>"); got != want {
				t.Errorf("unit %d of 65 on a part: %v, want %v", n+1, got, want)
			}
		}
	}
	if status, _ := s.do(s.request(http.MethodGet, "/?from=many", nil)); status != http.StatusUnprocessableEntity {
		t.Errorf("a part that is no number: status %d", status)
	}
}
