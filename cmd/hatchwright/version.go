package main

import (
	"context"
	"fmt"
	"runtime/debug"

	"hatchwright/service/shop"
)

// Version is set at link time: -ldflags "-X main.Version=…".
var Version = "dev"

// revision is the commit that the program was built from, where Go knows it.
func revision() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value
		}
	}
	return ""
}

func version(_ context.Context, s streams, _ []string) int {
	fmt.Fprintf(s.out, "hatchwright %s, engine %s", Version, shop.Engine)
	if r := revision(); r != "" {
		fmt.Fprintf(s.out, ", commit %s", r)
	}
	fmt.Fprintln(s.out)
	return exitOK
}
