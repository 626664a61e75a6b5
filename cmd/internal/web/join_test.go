package web_test

import (
	"path/filepath"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"

	"github.com/chromedp/chromedp"
)

// words is what an expression in the page says.
func (b *tab) words(expression string) string {
	b.t.Helper()
	return must(chromedp.Run(b.ctx, chromedp.Evaluate[string](expression)))
}

// sends types into a form's fields, in place of what is there, and presses Enter.
func (b *tab) sends(fields ...[2]string) {
	b.t.Helper()
	must(chromedp.Run(b.ctx, chromedp.Evaluate[bool](`window.before = true`)))
	for i, f := range fields {
		must(chromedp.Run(b.ctx, chromedp.Evaluate[string](`document.querySelector('`+f[0]+`').value = ''`)))
		text := f[1]
		if i == len(fields)-1 {
			text += "\n"
		}
		b.do(chromedp.SendKeys(chromedp.CSS(f[0]), text))
	}
	b.until(`!window.before && document.readyState === 'complete'`)
}

// newCode makes a join code on a bench's open page.
func (b *tab) newCode() string {
	b.t.Helper()
	b.goTo("/benches")
	b.at("/benches")
	had := b.words(`document.querySelector('.joincode code')?.innerText ?? ''`)
	b.do(chromedp.Click(chromedp.CSS("#invite button")))
	b.until(`(document.querySelector('.joincode code')?.innerText ?? '') !== '` + had + `'`)
	return strings.TrimSuffix(strings.TrimPrefix(b.words(`document.querySelector('.joincode code').innerText`), "oldhand join "), " --bench NAME")
}

// hosts lets the other benches meet at a bench, on its open page, and gives where.
func (b *tab) hosts() string {
	b.t.Helper()
	b.goTo("/benches")
	b.at("/benches")
	b.sends([2]string{"#host-listen", "127.0.0.1:0"})
	b.until(`document.body.innerText.includes('The other benches meet here, at ')`)
	return b.words(`document.body.innerText.match(/meet here, at ([0-9.:]+[0-9])/)[1]`)
}

// mistyped is a code with one letter wrong.
func mistyped(code string) string {
	i := len(code) / 2
	for code[i] == ' ' || code[i] == '-' {
		i--
	}
	letter := "A"
	if code[i] == 'A' {
		letter = "B"
	}
	return code[:i] + letter + code[i+1:]
}

// An empty folder joins a shop by the code that stands on the other bench's page, all
// of it typed in a real browser; each way in which that does not go says what is wrong,
// and what was typed stays.
func TestABenchJoinsByTheCodeThatIsTypedOnItsPage(t *testing.T) {
	front, elsewhere := newShop(t), newShop(t)
	here := openTab(t, front)
	at := here.hosts()
	code := here.newCode()
	elsewhereAt := openTab(t, elsewhere).hosts()
	work := receive(t, front, "E17-17750")

	attic := serveFolder(t, filepath.Join(t.TempDir(), "attic"))
	there := openTab(t, attic)
	refused := func(what, typed, bench, words string) {
		t.Helper()
		there.sends([2]string{"#join-code", typed}, [2]string{"#join-bench", bench})
		if text := there.words(`document.querySelector('#join').innerText`); !strings.Contains(text, words) {
			t.Errorf("%s: the form says %q, want %q", what, text, words)
		}
		if got := there.words(`document.querySelector('#join-code').value + '|' + document.querySelector('#join-bench').value`); got != typed+"|"+bench {
			t.Errorf("%s: left of what was typed: %q", what, got)
		}
		if app.HasFolder(attic.dir) {
			t.Errorf("%s: there is a shop", what)
		}
		there.forget() // Chromium notes the status of an error too
	}
	refused("a wrong letter", mistyped(code), "attic", "a character is wrong, or two are swapped")
	refused("a code of another shop", code+" "+elsewhereAt, "attic", "is not for what answers at "+elsewhereAt)
	refused("the name of another bench", code, "front", "is the name of another bench of this shop; choose another name, the code is still good")
	refused("no code at all", "Lantern", "attic", "does not occur")
	refused("nobody there", code+" 127.0.0.1:1", "attic", "nobody answers at 127.0.0.1:1")

	there.sends([2]string{"#join-code", code}, [2]string{"#join-bench", "attic"})
	there.until(`document.body.innerText.includes('This machine is bench attic of Lantern Street Radio.')`)
	there.until(`document.body.innerText.includes('` + work + `')`)
	there.goTo("/benches")
	there.at("/benches")
	must(chromedp.Run(there.ctx, chromedp.Evaluate[bool](`window.before = true`)))
	there.do(chromedp.Click(chromedp.CSS("#watch button")))
	there.until(`!window.before && document.body.innerText.includes('This bench stays with the others')`)
	theirs := receive(t, attic, "B90-55354")
	here.goTo("/")
	here.until(`document.body.innerText.includes('` + theirs + `')`)
	there.clean("the page of the bench that joined")

	van := serveFolder(t, filepath.Join(t.TempDir(), "van"))
	there = openTab(t, van)
	attic = van
	refused("a used code", code, "van", "used")
	if at == elsewhereAt {
		t.Fatal("the two shops are one")
	}
}
