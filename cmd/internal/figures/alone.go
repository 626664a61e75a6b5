package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"time"
)

// aloneWord is the first word where this command starts itself, to run the program
// and do nothing else: alone PROGRAM run WORDS, or alone PROGRAM serve WORDS.
const aloneWord = "alone"

// alone runs the program and prints what came of it.
func alone(args []string, out io.Writer) (exit int) {
	r, err := runAlone(args)
	if err != nil {
		r.Failed = err.Error()
	}
	if err := json.NewEncoder(out).Encode(r); err != nil {
		return 1
	}
	return 0
}

func runAlone(args []string) (r ran, err error) {
	if len(args) < 3 {
		return r, errors.New("want a program, run or serve, and words")
	}
	program, how, words := args[0], args[1], args[2:]
	begun := time.Now()
	var c *exec.Cmd
	if how == "serve" {
		c, err = browseAlone(program, words)
	} else {
		c = exec.Command(program, words...)
		var told []byte
		if told, err = c.CombinedOutput(); err != nil {
			err = fmt.Errorf("%w: %s", err, firstLines(string(told)))
		}
	}
	r.Seconds = time.Since(begun).Seconds()
	if err != nil {
		return r, err
	}
	r.MiB, err = peakOf(c.ProcessState)
	return r, err
}

// browseAlone serves a shop, asks for its pages for a while, and stops it.
func browseAlone(program string, words []string) (c *exec.Cmd, err error) {
	c = exec.Command(program, append([]string{"serve", "--json", "--quiet", "--addr", "127.0.0.1:0"}, words...)...)
	var told bytes.Buffer
	c.Stderr = &told
	pipe, err := c.StdoutPipe()
	if err != nil {
		return c, err
	}
	if err := c.Start(); err != nil {
		return c, err
	}
	var page struct{ Page, Start string }
	err = json.NewDecoder(pipe).Decode(&page)
	if err == nil {
		err = askForPages(page.Page, page.Start)
	}
	if e := c.Process.Signal(os.Interrupt); err == nil {
		err = e
	}
	if e := c.Wait(); err == nil {
		err = e
	}
	if err != nil {
		err = fmt.Errorf("%w: %s", err, firstLines(told.String()))
	}
	return c, err
}

// browsing is what is asked of the pages that are served: every answer, with filters
// and without, and lookups of every sort.
var browsing = []string{"", "fleet", "fleet/rarity", "fleet/failures", "fleet/failures?by=model", "fleet/turnaround", "fleet/turnaround?by=model", "fleet/comebacks",
	"fleet/parts", "fleet/parts?maker=Pellowick", "fleet/outcomes?by=kind", "fleet/norms", "year", "model/Pellowick/PK-47", "find/list?q=10019", "find/list?q=177",
	"find/list?q=Pellowick", "find/list?q=marrowick", "find/list?q=ZK-1100", "benches"}

// timesBrowsed is how often each is asked for, by eight at once.
const timesBrowsed = 40

func askForPages(page, start string) error {
	jar, err := cookiejar.New(nil)
	if err != nil {
		return err
	}
	client := &http.Client{Jar: jar, Timeout: time.Minute}
	if err := get(client, start); err != nil {
		return err
	}
	ended := make(chan error)
	for i := range readers {
		go func() {
			for n := range timesBrowsed * len(browsing) / readers {
				if err := get(client, page+browsing[(i+n*readers)%len(browsing)]); err != nil {
					ended <- err
					return
				}
			}
			ended <- nil
		}()
	}
	for range readers {
		err = errors.Join(err, <-ended)
	}
	return err
}

// readers is how many windows ask at once.
const readers = 8

func get(client *http.Client, address string) error {
	res, err := client.Get(address)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if _, err := io.Copy(io.Discard, res.Body); err != nil {
		return err
	}
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", address, res.Status)
	}
	return nil
}
