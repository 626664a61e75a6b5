package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
)

func main() {
	if err := run(os.Args[1:], os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "knownfaults:", err)
		os.Exit(1)
	}
}

func run(args []string, in io.Reader, out io.Writer) error {
	if len(args) != 1 {
		return errors.New("want the file of accepted faults, and govulncheck's JSON on standard input")
	}
	f, err := os.Open(args[0])
	if err != nil {
		return err
	}
	defer f.Close()
	accepted, err := readAccepted(f)
	if err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	found, err := readFound(in)
	if err != nil {
		return fmt.Errorf("read what govulncheck found: %w", err)
	}
	return judge(accepted, found, out)
}

// accepted is a fault that does not stop us, and why.
type accepted struct{ mended, why string }

// readAccepted reads the list.
func readAccepted(r io.Reader) (map[string]accepted, error) {
	list := map[string]accepted{}
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		line, _, _ := strings.Cut(lines.Text(), "#")
		words := strings.Fields(line)
		switch {
		case len(words) == 0:
			continue
		case !strings.HasPrefix(words[0], "GO-"):
			return nil, fmt.Errorf("line %d: %q is no id of a fault", n, words[0])
		case len(words) < 5:
			return nil, fmt.Errorf("line %d: %s wants the version that mends it and a reason in words", n, words[0])
		}
		if _, twice := list[words[0]]; twice {
			return nil, fmt.Errorf("line %d: %s stands twice", n, words[0])
		}
		list[words[0]] = accepted{words[1], strings.Join(words[2:], " ")}
	}
	return list, lines.Err()
}

// fault is what govulncheck found of one id.
type fault struct {
	id, module, mended, says string
	reached                  bool // a function of it is called
}

// message is one of the values that govulncheck writes, as far as it is read here.
type message struct {
	Config *struct {
		ScanLevel string `json:"scan_level"`
	} `json:"config"`
	OSV *struct {
		ID      string `json:"id"`
		Summary string `json:"summary"`
	} `json:"osv"`
	Finding *struct {
		OSV   string `json:"osv"`
		Fixed string `json:"fixed_version"`
		Trace []struct {
			Module   string `json:"module"`
			Function string `json:"function"`
		} `json:"trace"`
	} `json:"finding"`
}

// readFound reads govulncheck's JSON. Output that does not say how it looked is of a
// run that never began, and finds nothing for that reason alone: it is an error.
func readFound(r io.Reader) ([]fault, error) {
	byID, says := map[string]*fault{}, map[string]string{}
	looked := false
	for dec := json.NewDecoder(r); ; {
		var m message
		if err := dec.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, err
		}
		switch {
		case m.Config != nil:
			looked = m.Config.ScanLevel == "symbol"
		case m.OSV != nil:
			says[m.OSV.ID] = m.OSV.Summary
		case m.Finding != nil && len(m.Finding.Trace) > 0:
			f := byID[m.Finding.OSV]
			if f == nil {
				f = &fault{id: m.Finding.OSV, module: m.Finding.Trace[0].Module, mended: m.Finding.Fixed}
				byID[f.id] = f
			}
			f.reached = f.reached || m.Finding.Trace[0].Function != ""
		}
	}
	if !looked {
		return nil, errors.New("it did not look at which functions are called")
	}
	var list []fault
	for _, f := range byID {
		f.says = says[f.id]
		list = append(list, *f)
	}
	slices.SortFunc(list, func(a, b fault) int { return strings.Compare(a.id, b.id) })
	return list, nil
}

// judge tells of each fault, and fails where one counts that nobody accepted.
func judge(list map[string]accepted, found []fault, out io.Writer) error {
	var wrong []string
	here := map[string]bool{}
	for _, f := range found {
		here[f.id] = true
		a, ok := list[f.id]
		switch {
		case !f.reached:
			fmt.Fprintf(out, "not called  %s %s: %s\n", f.id, f.module, f.says)
		case !ok:
			wrong = append(wrong, fmt.Sprintf("%s in %s is reached and not accepted: %s; mended in %s", f.id, f.module, f.says, orNothing(f.mended)))
		case a.mended != f.mended:
			wrong = append(wrong, fmt.Sprintf("%s was accepted as mended in %s, and is mended in %s: weigh it again", f.id, a.mended, orNothing(f.mended)))
		default:
			fmt.Fprintf(out, "accepted    %s until %s: %s\n", f.id, a.mended, a.why)
		}
	}
	for id := range list {
		if !here[id] {
			fmt.Fprintf(out, "not found   %s: it can come off the list once no machine finds it\n", id)
		}
	}
	if len(wrong) > 0 {
		return errors.New(strings.Join(wrong, "\n"))
	}
	return nil
}

func orNothing(version string) string {
	if version == "" {
		return "no version yet"
	}
	return version
}
