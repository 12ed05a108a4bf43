package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"hatchwright/store/postgres/postgrestest"
)

// asProgram in the environment makes the test program the program itself.
const asProgram = "HATCHWRIGHT_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	code := postgrestest.Main(m)
	if build.folder != "" {
		_ = os.RemoveAll(build.folder)
	}
	os.Exit(code)
}

// build is the program as customers have it, built once for all tests that run it.
var build struct {
	sync.Once
	folder string
	err    error
}

// built is where the program is that go build makes.
func built(t *testing.T) string {
	t.Helper()
	build.Do(func() {
		if build.folder, build.err = os.MkdirTemp("", "hatchwright-built-"); build.err != nil {
			return
		}
		if out, err := exec.Command("go", "build", "-o", filepath.Join(build.folder, "hatchwright"), ".").CombinedOutput(); err != nil {
			build.err = fmt.Errorf("go build: %w\n%s", err, out)
		}
	})
	if build.err != nil {
		t.Fatal(build.err)
	}
	return filepath.Join(build.folder, "hatchwright")
}

// replica is a process that serves on a store that others may serve too.
type replica struct {
	t           *testing.T
	program     string // "": the test program, as the program
	listen      string // "": at any port
	environment []string
	quiet       bool // what it says on standard error is shown only when the test fails
	process     *exec.Cmd
	address     atomic.Value // of the process that runs, or ran last
}

// start starts it anew, and once more when it does not come up, as whatever runs
// processes does: a busy machine may keep its store away for a while.
func (r *replica) start() {
	var err error
	for range 5 {
		if err = r.begin(); err == nil {
			return
		}
		_ = r.process.Wait()
	}
	r.t.Error(err)
}

func (r *replica) begin() error {
	program := r.program
	if program == "" {
		program = os.Args[0]
	}
	listen := r.listen
	if listen == "" {
		listen = "127.0.0.1:0"
	}
	r.process = exec.Command(program, "serve", "-address", listen)
	r.process.Env = append(os.Environ(), append([]string{asProgram + "=1", "HATCHWRIGHT_LOG_LEVEL=error", "HATCHWRIGHT_KEY_RATE=0"}, r.environment...)...)
	r.process.Stderr = r.t.Output()
	if r.quiet {
		r.process.Stderr = &lastWords{r: r}
	}
	out, err := r.process.StdoutPipe()
	if err == nil {
		err = r.process.Start()
	}
	if err != nil {
		return err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	at, ok := strings.CutPrefix(line, "hatchwright on ")
	at, _, more := strings.Cut(at, ",")
	if err != nil || !ok || !more {
		return fmt.Errorf("the replica says %q, %v", line, err)
	}
	r.address.Store(at)
	return nil
}

// lastWords keeps the end of what a process says, for a test that fails.
type lastWords struct {
	r    *replica
	mu   sync.Mutex
	kept []byte
	told bool
}

func (w *lastWords) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	const most = 4000
	if w.kept = append(w.kept, p...); len(w.kept) > most {
		w.kept = w.kept[len(w.kept)-most:]
	}
	if !w.told {
		w.told = true
		w.r.t.Cleanup(func() {
			w.mu.Lock()
			defer w.mu.Unlock()
			if w.r.t.Failed() {
				w.r.t.Logf("a process said in the end: %s", w.kept)
			}
		})
	}
	return len(p), nil
}

// at is the URL of the process that runs, or ran last.
func (r *replica) at() string { return r.address.Load().(string) }

// kill ends the process as a power cut does: SIGKILL.
func (r *replica) kill() {
	if err := r.process.Process.Kill(); err != nil {
		r.t.Error(err)
	}
	_ = r.process.Wait() // killed
}

// Keys of the demo scenario.
const (
	demoShop       = "hw_demo_shop_known_to_everybody"
	demoDealer     = "hw_demo_brackwater_dealer_known_to_everybody"
	demoOther      = "hw_demo_fennimore_dealer_known_to_everybody"
	demoStorefront = "hw_demo_brackwater_storefront_known_to_everybody"
)

// served is the built program with the demo scenario on a new embedded store, for as
// long as the test runs.
func served(t *testing.T, environment ...string) *replica {
	t.Helper()
	r := &replica{t: t, program: built(t), environment: append([]string{"HATCHWRIGHT_DATA=" + filepath.Join(t.TempDir(), "served.db"), "HATCHWRIGHT_DEMO=true"}, environment...)}
	r.start()
	if t.Failed() {
		t.FailNow()
	}
	t.Cleanup(r.kill)
	return r
}
