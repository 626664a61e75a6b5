package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	if clock := os.Getenv(clockEnv); clock != "" {
		os.Exit(program(clock))
	}
	os.Exit(command(os.Args[1:], os.Stdout, os.Stderr))
}

// command reads the flags, makes the run and gives the exit code: 0 where nothing was
// wrong, 1 where something was, 2 where it could not be made.
func command(args []string, out, errOut io.Writer) int {
	f := flag.NewFlagSet("soak", flag.ContinueOnError)
	f.SetOutput(errOut)
	p := plan{disk: true}
	f.DurationVar(&p.length, "for", time.Hour, "how long people work; the beginning and the end come besides")
	f.Uint64Var(&p.seed, "seed", rand.Uint64(), "what is done, by whom and in which order")
	f.DurationVar(&p.pause, "pause", 800*time.Millisecond, "between two deeds of one person, on the average")
	f.DurationVar(&p.calm, "calm", 25*time.Second, "between two faults, on the average")
	f.DurationVar(&p.idle, "idle", time.Minute, "the rest before the end, in which nobody does anything")
	f.DurationVar(&p.every, "every", 5*time.Second, "between two samples")
	f.StringVar(&p.csv, "samples", "", "write what was sampled into this `file`, as CSV")
	f.StringVar(&p.top, "dir", "", "the `folder` to work in; a fresh one, taken away where nothing was wrong, if it is not said")
	if err := f.Parse(args); err != nil {
		return 2
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	s, err := soakOnce(ctx, p, out)
	if err != nil {
		fmt.Fprintln(errOut, "soak:", err)
		if s == nil {
			return 2
		}
		return 1
	}
	return 0
}

// soakOnce makes one run. What it kept of the folders is said.
func soakOnce(ctx context.Context, p plan, out io.Writer) (*soak, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	fresh := p.top == ""
	if fresh {
		if p.top, err = os.MkdirTemp("", "oldhand-soak-"); err != nil {
			return nil, err
		}
	} else if err := os.MkdirAll(p.top, 0o700); err != nil {
		return nil, err
	}
	s := &soak{plan: p, self: self, out: out, ledger: newLedger(), did: newTally(), times: newTimes(), samples: &samples{}}
	fmt.Fprintf(out, "soak for %v, seed %d, in %s\n", p.length, p.seed, p.top)
	if err := s.run(ctx); err != nil {
		s.wrong("%v", err)
	}
	s.summary(out)
	if err := s.unmount(); err != nil {
		s.wrong("%v", err)
	}
	if p.csv != "" {
		if err := s.samples.write(p.csv); err != nil {
			s.wrong("%v", err)
		}
	}
	if len(s.faulty) > 0 {
		fmt.Fprintf(out, "the folders are kept in %s; again with: -seed %d\n", p.top, p.seed)
		return s, fmt.Errorf("%d things are wrong: %w", len(s.faulty), errWrong)
	}
	if fresh {
		return s, os.RemoveAll(p.top)
	}
	return s, nil
}
