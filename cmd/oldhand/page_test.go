package main

import (
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// pageCmds are what stories of the page need besides the program.
var pageCmds = map[string]func(*testscript.TestScript, bool, []string){
	"page":  page,
	"shows": shows,
}

// letIn is the variable with the cookie of a browser that was let in.
const letIn = "OLDHAND_TEST_COOKIE"

// page VAR SHOP comes into the page that serves a folder.
func page(ts *testscript.TestScript, _ bool, args []string) {
	ts.Check(ts.Exec("oldhand", "serve", "--quiet", "--json", "--shop", args[1]))
	start := jsonField(ts, ts.ReadFile("stdout"), "start")
	ts.Setenv(args[0], jsonField(ts, ts.ReadFile("stdout"), "page"))
	jar, err := cookiejar.New(nil)
	ts.Check(err)
	res, err := (&http.Client{Jar: jar}).Get(start)
	ts.Check(err)
	ts.Check(res.Body.Close())
	if res.StatusCode != http.StatusOK || len(jar.Cookies(res.Request.URL)) != 1 {
		ts.Fatalf("%s does not let in: %s", start, res.Status)
	}
	ts.Setenv(letIn, jar.Cookies(res.Request.URL)[0].Value)
	ts.Setenv("OLDHAND_TEST_PAGE", ts.Getenv(args[0]))
}

// shows PATH TEXT... waits until a page says all of the texts.
func shows(ts *testscript.TestScript, _ bool, args []string) {
	said := ""
	if !poll(func() bool {
		r, err := http.NewRequest(http.MethodGet, ts.Getenv("OLDHAND_TEST_PAGE")+strings.TrimPrefix(args[0], "/"), nil)
		ts.Check(err)
		r.AddCookie(&http.Cookie{Name: "oldhand", Value: ts.Getenv(letIn)})
		res, err := http.DefaultClient.Do(r)
		if err != nil {
			return false
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		said = html.UnescapeString(string(b))
		for _, text := range args[1:] {
			if err != nil || !strings.Contains(said, text) {
				return false
			}
		}
		return true
	}) {
		ts.Fatalf("%s does not show %q: %s", args[0], args[1:], said)
	}
}
