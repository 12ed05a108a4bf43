package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"time"

	"hatchwright/api"
	"hatchwright/openapi"
	"hatchwright/service"
	"hatchwright/service/fault"
)

// largestFile is what a configuration file may hold, bytes: the API's own limit.
const largestFile = 1 << 20

// derive works one configuration file out with the example shop's documents,
// without server or store. It prints what the API would answer: the derivation,
// or, with exit code 3, the problem that says why the hatch cannot be made.
func derive(_ context.Context, s streams, args []string) int {
	flags := flag.NewFlagSet("derive", flag.ContinueOnError)
	flags.SetOutput(s.err)
	shorten := flags.Bool("shorten", false, "also say what would shorten the lead time")
	start := flags.String("start", "", "when work may start, RFC 3339; now when left out")
	flags.Usage = func() {
		fmt.Fprintln(s.err, "usage: hatchwright derive [-start TIME] [-shorten] FILE    (FILE - reads standard input)")
		flags.PrintDefaults()
	}
	if err := flags.Parse(args); errors.Is(err, flag.ErrHelp) {
		return exitOK
	} else if err != nil {
		return exitUsage
	}
	if flags.NArg() != 1 {
		flags.Usage()
		return exitUsage
	}
	at := time.Now()
	if *start != "" {
		var err error
		if at, err = openapi.ParseTime(*start); err != nil {
			fmt.Fprintf(s.err, "hatchwright derive: -start %q: %v Write a time like 2027-02-01T07:00:00-05:00\n", *start, err)
			return exitUsage
		}
	}
	body, err := readFile(s, flags.Arg(0))
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright derive: %v\n", err)
		return exitFailure
	}
	answer, err := deriveDocument(body, at, *shorten)
	var not *service.NotMakeableError
	switch {
	case errors.As(err, &not):
		problem, err := api.Problem(not)
		if err != nil {
			fmt.Fprintf(s.err, "hatchwright derive: %v\n", err)
			return exitFailure
		}
		return s.say(problem, exitNotMakeable)
	case err != nil:
		// A problem document says more than its title: pointers and mends.
		if problem, perr := api.Problem(err); perr == nil {
			fmt.Fprintf(s.err, "%s\n", problem)
			// Here nobody else reads a log: a fault is told with its cause.
			if fault.KindOf(err) == fault.Internal {
				fmt.Fprintf(s.err, "hatchwright derive: %v\n", err)
			}
		} else {
			fmt.Fprintf(s.err, "hatchwright derive: %v\n", err)
		}
		return exitFailure
	}
	return s.say(answer, exitOK)
}

// say writes the command's answer and returns code, or failure when the answer
// went nowhere (a full disk).
func (s streams) say(answer []byte, code int) int {
	if _, err := s.out.Write(append(answer, '\n')); err != nil {
		fmt.Fprintf(s.err, "hatchwright derive: write the answer: %v\n", err)
		return exitFailure
	}
	return code
}

func deriveDocument(body []byte, start time.Time, shorten bool) ([]byte, error) {
	r, err := api.DecodeConfiguration(body)
	if err != nil {
		return nil, err
	}
	o := service.LeadTimeOptions{}
	if shorten {
		o.Shorten = api.MostShorten
	}
	result, err := service.DeriveOffline(r, start, o)
	if err != nil {
		return nil, err
	}
	return api.Derivation(result)
}

func readFile(s streams, name string) ([]byte, error) {
	in := s.in
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer func() { _ = f.Close() }()
		in = f
	}
	body, err := io.ReadAll(io.LimitReader(in, largestFile+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(body) > largestFile {
		return nil, fmt.Errorf("%s is larger than 1 MiB", name)
	}
	return body, nil
}
