package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// terminal opens a pair of pseudo-terminal ends (pty(7), ioctl_tty(2)).
func terminal(t *testing.T) (near, far *os.File) {
	t.Helper()
	near, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("there are no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { near.Close() })
	if err := unix.IoctlSetPointerInt(int(near.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(near.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	far, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	return near, far
}

// On a terminal the first key is shown and in no file; where the file is set, it is the
// other way round, since a container's terminal is kept in a log.
func TestFirstKeyOnATerminal(t *testing.T) {
	for _, set := range []bool{false, true} {
		t.Run(fmt.Sprintf("file set %t", set), func(t *testing.T) {
			near, far := terminal(t)
			folder := t.TempDir()
			file := filepath.Join(folder, "hatchwright.db.first-shop-key")
			p := exec.Command(os.Args[0], "serve")
			p.Dir = folder
			p.Env = append(os.Environ(), asProgram+"=1", "HATCHWRIGHT_ADDRESS=127.0.0.1:0", "HATCHWRIGHT_DRAIN_DELAY=0")
			if set {
				p.Env = append(p.Env, "HATCHWRIGHT_FIRST_KEY_FILE="+file)
			}
			p.Stdout = far
			if err := p.Start(); err != nil {
				t.Fatal(err)
			}
			far.Close()
			time.AfterFunc(time.Minute, func() { _ = p.Process.Kill() })
			var said strings.Builder
			asked := false // a second signal would end it at once
			chunk := make([]byte, 1024)
			for {
				n, err := near.Read(chunk)
				said.Write(chunk[:n])
				if err != nil { // EIO: nobody holds the other end any more
					break
				}
				if !asked && strings.Contains(said.String(), "hatchwright on ") {
					asked = true
					_ = p.Process.Signal(syscall.SIGTERM)
				}
			}
			if err := p.Wait(); err != nil {
				t.Error(err)
			}
			if shown := secretKey.MatchString(said.String()); shown == set {
				t.Errorf("the key is shown: %t, want %t", shown, !set)
			}
			if _, err := os.Stat(file); (err == nil) != set {
				t.Errorf("the file: %v, want it %t", err, set)
			}
		})
	}
}
