package web_test

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"oldhand/events/sharedtest"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// tab is a real browser's tab that was let in, and what it complained of.
type tab struct {
	t    testing.TB
	ctx  context.Context
	page string // the address of the page, with a slash at its end

	mu    sync.Mutex
	wrong []string // of the console, exceptions, requests to elsewhere
}

// openTab opens a browser on a page. Without Chromium the test is skipped.
func openTab(t testing.TB, s *served) *tab {
	t.Helper()
	b := newTab(t, s.web.Address())
	b.do(chromedp.Navigate(s.web.Start()))
	b.until(`document.readyState === 'complete' && (location.pathname === '/' || location.pathname === '/begin')`)
	return b
}

// sharedBrowser is one that was started already, for all tabs that want no flags of their
// own: a browser is some ten processes, and takes longer to start than most stories.
var sharedBrowser = sync.OnceValues(func() (context.Context, error) {
	ctx, end := startBrowser(filepath.Join(inventedIn, "browser"))
	endSharedBrowser = end
	return ctx, chromedp.Do(ctx)
})

// endSharedBrowser ends it after all tests, if it was started.
var endSharedBrowser = func() {}

func startBrowser(folder string, flags ...chromedp.ExecAllocatorOption) (ctx context.Context, end func()) {
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(folder))
	if path, err := exec.LookPath("chromium"); err == nil {
		opts = append(opts, chromedp.ExecPath(path))
	}
	all, endAll := chromedp.NewExecAllocator(context.Background(), append(opts, flags...)...)
	ctx, cancel := chromedp.NewContext(all)
	return ctx, func() {
		_ = chromedp.Cancel(ctx) // it ends with its process, at the latest
		cancel()
		endAll()
	}
}

// newTab is a browser's tab that was let in nowhere yet and is to stay at a page. What a
// page keeps in it, no other tab is told.
func newTab(t testing.TB, page string, flags ...chromedp.ExecAllocatorOption) *tab {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		sharedtest.Skip(t, "this test looks at the page in Chromium, which is not here (Debian's package chromium)")
	}
	var ctx context.Context
	end := func() {}
	if len(flags) > 0 {
		ctx, end = startBrowser(t.TempDir(), flags...)
	} else {
		browser, err := sharedBrowser()
		if err != nil {
			t.Fatalf("start a browser: %v", err)
		}
		ctx, end = chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	}
	ctx, late := context.WithTimeout(ctx, 20*time.Minute) // two hundred looks on a busy machine
	b := &tab{t: t, ctx: ctx, page: page}
	t.Cleanup(func() {
		late()
		end()
	})
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatal(err)
	}
	_, errLog := chromedp.Call(ctx, log.Enable, cdp.Empty{})
	_, errNet := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	_, errRun := chromedp.Call(ctx, runtime.Enable, cdp.Empty{})
	if err := errors.Join(errLog, errNet, errRun); err != nil {
		t.Fatal(err)
	}
	return b
}

// hear notes what a page must not do.
func (b *tab) hear(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch ev := ev.(type) {
	case *runtime.EventExceptionThrown:
		b.wrong = append(b.wrong, "exception: "+ev.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		b.wrong = append(b.wrong, fmt.Sprintf("console: %s %s", ev.Entry.Text, ev.Entry.URL))
	case *runtime.EventConsoleAPICalled:
		b.wrong = append(b.wrong, fmt.Sprintf("console.%s", ev.Type))
	case *network.EventRequestWillBeSent:
		if u := ev.Request.URL; !strings.HasPrefix(u, b.page) && !strings.HasPrefix(u, "data:") {
			b.wrong = append(b.wrong, "request to elsewhere: "+u)
		}
	}
}

// clean fails the test where the tab complained of something since it was last
// asked.
func (b *tab) clean(where string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, w := range b.wrong {
		b.t.Errorf("%s: %s", where, w)
	}
	b.wrong = nil
}

// forget drops what the tab complained of.
func (b *tab) forget() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.wrong = nil
}

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// until waits until an expression is true in the page, also across pages.
func (b *tab) until(expression string) {
	b.t.Helper()
	var err error
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		var so bool
		if so, err = chromedp.Run(b.ctx, chromedp.Evaluate[bool](`Boolean(`+expression+`)`)); err == nil && so {
			return
		}
	}
	at, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText.slice(0, 2000)`))
	b.t.Fatalf("never so: %s: %v; the page is %s", expression, err, at)
}

// at waits until the page of a path is there and can be worked with.
func (b *tab) at(path string) {
	b.t.Helper()
	b.until("document.readyState === 'complete' && location.pathname === '" + path + "'")
}

func (b *tab) goTo(path string) { b.do(chromedp.Navigate(b.page + strings.TrimPrefix(path, "/"))) }

func (b *tab) keys(keys string) { b.do(chromedp.KeyEvent(keys)) }

func eval[T any](b *tab, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// looks is one way in which a page is looked at.
type looks struct {
	scheme        string
	width, height int64
}

func (l looks) String() string { return fmt.Sprintf("%s-%d", l.scheme, l.width) }

func (b *tab) as(l looks) {
	b.t.Helper()
	var opts []chromedp.EmulateViewportOption
	if l.width < 500 {
		opts = append(opts, chromedp.EmulateMobile)
	}
	b.do(chromedp.EmulateViewport(l.width, l.height, opts...))
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: l.scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
	if err != nil {
		b.t.Fatal(err)
	}
}

// drawn waits until the page is drawn as it is.
func (b *tab) drawn() {
	b.t.Helper()
	if _, err := chromedp.Run(b.ctx, chromedp.Evaluate[int](`new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))`, chromedp.EvalAwaitPromise)); err != nil {
		b.t.Fatal(err)
	}
}

// violation is what axe found.
type violation struct {
	ID, Help string
	Nodes    []string
}

// axe checks the page as it stands by the rules of axe-core, which follow WCAG 2: by
// all of them, or by some.
func (b *tab) axe(source string, rules ...string) []violation {
	b.t.Helper()
	if !eval[bool](b, `Boolean(window.axe)`) {
		eval[any](b, source+";1")
	}
	how := "{}"
	if len(rules) > 0 {
		how = `{runOnly: ["` + strings.Join(rules, `", "`) + `"]}`
	}
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[[]violation](
		`axe.run(document, `+how+`).then(r => r.violations.map(v => ({ID: v.id, Help: v.help, Nodes: v.nodes.map(n => n.html + ' ' + n.failureSummary)})))`, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}

func readAxe(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile("testdata/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func escape(s string) string { return url.QueryEscape(s) }
