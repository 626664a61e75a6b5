package cli

import (
	"fmt"
	"os"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// progress shows on standard error how far something long is: as a bar on a
// terminal, as a line every few seconds elsewhere.
type progress struct {
	what  string
	total int
	env   *env
	bars  *mpb.Progress
	bar   *mpb.Bar
	said  time.Time
}

// sayEvery is how often a line is printed where there is no terminal.
const sayEvery = 5 * time.Second

func (e *env) progress(what string, total int) *progress {
	p := &progress{what: what, total: total, env: e, said: time.Now()}
	if f, ok := e.err.(*os.File); ok && isTerminal(f) && !e.json {
		p.bars = mpb.New(mpb.WithOutput(f), mpb.WithWidth(50))
		p.bar = p.bars.AddBar(int64(max(total, 1)), mpb.BarRemoveOnComplete(),
			mpb.PrependDecorators(decor.Name(what+" ")), mpb.AppendDecorators(decor.CurrentNoUnit("%d ")))
	}
	return p
}

// at says how much is done.
func (p *progress) at(n int) {
	if p.bar != nil {
		p.bar.SetTotal(int64(max(p.total, n+1)), false)
		p.bar.SetCurrent(int64(n))
		return
	}
	if time.Since(p.said) > sayEvery {
		p.said = time.Now()
		fmt.Fprintf(p.env.err, "%s: %d\n", p.what, n)
	}
}

// end takes the bar away.
func (p *progress) end(ok bool) {
	if p.bar == nil {
		return
	}
	if ok {
		p.bar.SetTotal(-1, true)
	} else {
		p.bar.Abort(true)
	}
	p.bars.Wait()
}

func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
