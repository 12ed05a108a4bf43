package main

import (
	"bufio"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestDrain: who asks hears first that the service is not ready, is answered and told
// that the connection ends, and only after the delay finds nobody listening.
func TestDrain(t *testing.T) {
	c := config(t)
	c.DrainDelay = 2 * time.Second
	p, url, stop := start(t, c)
	kept, err := net.Dial("tcp", strings.TrimPrefix(url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	answers := bufio.NewReader(kept)
	ask := func(path string) *http.Response {
		t.Helper()
		r, err := http.NewRequest(http.MethodGet, url+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+p.ShopKey)
		if err := r.Write(kept); err != nil {
			t.Fatal(err)
		}
		a, err := http.ReadResponse(answers, r)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(io.Discard, a.Body); err != nil {
			t.Fatal(err)
		}
		return a
	}
	if a := ask("/v1/keys"); a.StatusCode != http.StatusOK || a.Close {
		t.Fatalf("before: %d, close %t", a.StatusCode, a.Close)
	}
	stopped := make(chan error, 1)
	begun := time.Now()
	go func() { stopped <- stop() }()
	for { // until it says that it is not ready, over connections of their own
		a, err := http.Get(url + "/readyz")
		if err != nil {
			t.Fatalf("a new connection while it drains: %v", err)
		}
		a.Body.Close()
		if a.StatusCode == http.StatusServiceUnavailable {
			if !a.Close {
				t.Error("the answer does not say that the connection ends")
			}
			break
		}
	}
	if a := ask("/v1/keys"); a.StatusCode != http.StatusOK || !a.Close {
		t.Errorf("on a kept connection while it drains: %d, close %t; want 200, true", a.StatusCode, a.Close)
	}
	if _, err := answers.ReadByte(); !errors.Is(err, io.EOF) {
		t.Errorf("the kept connection after that: %v, want its end", err)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
	if took := time.Since(begun); took < c.DrainDelay {
		t.Errorf("it stopped after %v, before its delay of %v", took, c.DrainDelay)
	}
	if _, err := net.DialTimeout("tcp", strings.TrimPrefix(url, "http://"), time.Second); err == nil {
		t.Error("somebody still listens")
	}
}

// A second signal ends the process at once, whatever it waits for, with the code that
// shells give a signal.
func TestSecondSignal(t *testing.T) {
	for _, signal := range []syscall.Signal{syscall.SIGTERM, syscall.SIGINT} {
		t.Run(signal.String(), func(t *testing.T) {
			r := &replica{t: t, environment: []string{"HATCHWRIGHT_DATA=" + config(t).DataFile, "HATCHWRIGHT_DRAIN_DELAY=1h"}}
			r.start()
			if t.Failed() {
				return
			}
			if err := r.process.Process.Signal(syscall.SIGTERM); err != nil {
				t.Fatal(err)
			}
			for since := time.Now(); ; time.Sleep(10 * time.Millisecond) {
				a, err := http.Get(r.at() + "/readyz")
				if err != nil {
					t.Fatal(err)
				}
				a.Body.Close()
				if a.StatusCode == http.StatusServiceUnavailable {
					break
				}
				if time.Since(since) > time.Minute {
					t.Fatal("the first signal does nothing")
				}
			}
			if err := r.process.Process.Signal(signal); err != nil {
				t.Fatal(err)
			}
			ended := make(chan error, 1)
			go func() { ended <- r.process.Wait() }()
			select {
			case err := <-ended:
				var exit *exec.ExitError
				if !errors.As(err, &exit) || exit.ExitCode() != 128+int(signal) {
					t.Errorf("%v, want exit code %d", err, 128+int(signal))
				}
			case <-time.After(10 * time.Second):
				r.kill()
				t.Error("it goes on")
			}
		})
	}
}

// TestStopSettingsAgree: whoever stops the container leaves the service the time that
// it takes by default.
func TestStopSettingsAgree(t *testing.T) {
	compose, err := os.ReadFile("../../deploy/compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	service, _, _ := strings.Cut(string(compose), "\n  database:")
	m := regexp.MustCompile(`stop_grace_period: (\S+)`).FindStringSubmatch(service)
	if m == nil {
		t.Fatal("the service has no stop_grace_period")
	}
	grace, err := time.ParseDuration(m[1])
	if err != nil {
		t.Fatal(err)
	}
	c := DefaultConfig()
	if least := c.DrainDelay + c.ShutdownGrace + 10*time.Second; grace < least {
		t.Errorf("stop_grace_period is %v, the service may take %v and what it writes down at the end", grace, least-10*time.Second)
	}
}
