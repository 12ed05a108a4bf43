// Command hatchwright serves the API for made-to-size deck hatches, and works one
// configuration out without a server.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
)

// Exit codes. notMakeable tells a script that the answer is a clear no, not a
// failure.
const (
	exitOK          = 0
	exitFailure     = 1
	exitUsage       = 2
	exitNotMakeable = 3
)

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
	env      map[string]string
}

// commands, each with a line for the usage.
var commands = []struct {
	name, does string
	run        func(context.Context, streams, []string) int
}{
	{"serve", "serve the API (embedded store, or PostgreSQL with DATABASE_URL)", serve},
	{"derive", "work out one configuration file; JSON on standard output, exit 3 when it cannot be made", derive},
	{"key", "new, list or revoke: API keys, on the machine and without one", key},
	{"migrate", "bring the store's schema up to date and say its version", migrate},
	{"health", "ask the service on this machine whether it is ready; exit 0 when it is", health},
	{"bench", "measure check, derive and the HTTP round trip; ratios against a canned answer", bench},
	{"version", "print the version", version},
}

func main() {
	ctx, stop := untilSignal(context.Background(), os.Exit)
	env := map[string]string{}
	for _, pair := range os.Environ() {
		k, v, _ := strings.Cut(pair, "=")
		env[k] = v
	}
	code := run(ctx, streams{os.Stdin, os.Stdout, os.Stderr, env}, os.Args[1:])
	stop()
	os.Exit(code)
}

// signalCode and a signal's number make the exit code of a program that a signal ended
// at once, as shells have it.
const signalCode = 128

// untilSignal ends its context at the first SIGTERM or SIGINT, for an orderly end, and
// the program at the second.
func untilSignal(parent context.Context, exit func(code int)) (ctx context.Context, stop func()) {
	ctx, cancel := context.WithCancel(parent)
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	go func() {
		for n := 0; ; n++ {
			select {
			case <-parent.Done():
				return
			case s := <-signals:
				if n == 0 {
					cancel()
					continue
				}
				code := exitFailure
				if number, ok := s.(syscall.Signal); ok {
					code = signalCode + int(number)
				}
				exit(code)
			}
		}
	}()
	return ctx, func() { signal.Stop(signals); cancel() }
}

func run(ctx context.Context, s streams, args []string) int {
	if len(args) > 0 {
		for _, c := range commands {
			if c.name == args[0] {
				return c.run(ctx, s, args[1:])
			}
		}
		if args[0] != "help" && args[0] != "-h" && args[0] != "--help" {
			fmt.Fprintf(s.err, "hatchwright: there is no command %q\n", args[0])
		}
	}
	fmt.Fprintln(s.err, "usage: hatchwright COMMAND [flags]")
	for _, c := range commands {
		fmt.Fprintf(s.err, "  %-8s %s\n", c.name, c.does)
	}
	if len(args) > 0 && strings.Contains(args[0], "help") {
		return exitOK
	}
	return exitUsage
}

// parse handles what every command's flags have in common. The code is -1 when
// the command goes on.
func parse(s streams, name string, args []string) (Config, *flag.FlagSet, int) {
	flags := flag.NewFlagSet(name, flag.ContinueOnError)
	flags.SetOutput(s.err)
	c, err := LoadConfig(s.env, flags, args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return c, flags, exitOK
	case err != nil:
		fmt.Fprintf(s.err, "hatchwright %s: %v\n", name, err)
		return c, flags, exitUsage
	}
	return c, flags, -1
}
