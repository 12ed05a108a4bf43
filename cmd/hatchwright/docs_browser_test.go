package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browserDemanded in the environment makes a test that needs a browser fail where there
// is none; deploy/test sets it. Otherwise such a test is skipped there.
const browserDemanded = "HATCHWRIGHT_TEST_BROWSER"

// browserFor finds Debian's chromium, or one by another of its names.
func browserFor(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv(browserDemanded) != "" {
		t.Fatal("there is no chromium in the path, and " + browserDemanded + " demands one: install Debian's package chromium")
	}
	t.Skip("there is no chromium in the path: install Debian's package chromium to try /docs in a real browser")
	return ""
}

// browsed is what a browser did on a page.
type browsed struct {
	mu       sync.Mutex
	requests []string          // URLs, as the page asked for them
	coding   map[string]string // Content-Encoding by URL
	failed   []string
	errors   []string // on the console
}

// TestDocsInABrowser opens /docs of the started program in a headless chromium, which
// takes gzip as every browser does. The page lists every operation of the document that
// the program serves, writes no error to the console, and asks nobody else for anything.
func TestDocsInABrowser(t *testing.T) {
	path := browserFor(t)
	_, url, stop := start(t, config(t))
	defer func() {
		if err := stop(); err != nil {
			t.Error(err)
		}
	}()
	want := operationsServed(t, url)

	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path),
		chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("no-pings", true),
		// Nothing but this machine has an address, whatever the page or the browser asks for.
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"))
	if os.Getuid() == 0 {
		options = append(options, chromedp.NoSandbox) // it does not sandbox for root
	}
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute) // however busy the machine is
	defer cancel()
	ctx, cancel = chromedp.NewExecAllocator(ctx, options...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()

	seen := browsed{coding: map[string]string{}}
	if err := chromedp.Listen(ctx, seen.note); err != nil {
		t.Fatalf("chromium does not start: %v", err)
	}
	answer, err := chromedp.Run(ctx, chromedp.NavigateResponse(url+"/docs"))
	if err != nil {
		t.Fatal(err)
	}
	if answer.Status != http.StatusOK {
		t.Fatalf("/docs: status %d, want 200", answer.Status)
	}
	listed, err := chromedp.Run(ctx, chromedp.Poll[int](`document.querySelectorAll(".opblock").length`, chromedp.WithPollingInterval(100*time.Millisecond), chromedp.WithPollingTimeout(time.Minute)))
	if err != nil {
		body, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText`))
		t.Errorf("no operation is shown: %v; the page says %q", err, body)
	}
	if listed != want {
		t.Errorf("%d operations are shown, the document has %d", listed, want)
	}
	if text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText`)); err != nil || !strings.Contains(text, "/v1/derive/batch") {
		t.Errorf("the page does not show /v1/derive/batch: %v, %.300q", err, text)
	}
	// What the page did came before the last answer of the browser, in one stream.
	seen.mu.Lock()
	defer seen.mu.Unlock()
	for _, e := range seen.errors {
		t.Errorf("the console has an error: %s", e)
	}
	if len(seen.requests) < 4 { // the page, a style, a script and the document
		t.Errorf("the page asked for %q alone", seen.requests)
	}
	for _, r := range seen.requests {
		if !strings.HasPrefix(r, url+"/") && !strings.HasPrefix(r, "data:") && !strings.HasPrefix(r, "blob:"+url+"/") {
			t.Errorf("the page asks another origin: %.200s", r)
		}
	}
	for _, f := range seen.failed {
		t.Errorf("a request fails: %s", f)
	}
	if coding := seen.coding[url+"/docs/swagger-ui-bundle.js"]; coding != "gzip" {
		t.Errorf("the script came with Content-Encoding %q, want gzip: else this proves little", coding)
	}
}

// note keeps what the page asks for. It must be quick: the tab waits.
func (v *browsed) note(event any) {
	v.mu.Lock()
	defer v.mu.Unlock()
	switch e := event.(type) {
	case *network.EventRequestWillBeSent:
		v.requests = append(v.requests, e.Request.URL)
	case *network.EventResponseReceived:
		for name, value := range e.Response.Headers {
			if text, ok := value.(string); ok && strings.EqualFold(name, "Content-Encoding") {
				v.coding[e.Response.URL] = text
			}
		}
		if e.Response.Status >= http.StatusBadRequest {
			v.failed = append(v.failed, e.Response.URL)
		}
	case *network.EventLoadingFailed:
		v.failed = append(v.failed, e.ErrorText)
	case *runtime.EventExceptionThrown:
		v.errors = append(v.errors, fmt.Sprintf("%s %s:%d", e.ExceptionDetails.Text, e.ExceptionDetails.URL, e.ExceptionDetails.LineNumber))
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeAssert {
			text := string(e.Type)
			for _, a := range e.Args {
				text += fmt.Sprintf(" %s%s", a.Value, a.Description)
			}
			v.errors = append(v.errors, text)
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError {
			v.errors = append(v.errors, e.Entry.Text+" "+e.Entry.URL)
		}
	}
}

// operationsServed counts the operations of the document that the program serves.
func operationsServed(t *testing.T, url string) (n int) {
	t.Helper()
	a, err := http.Get(url + "/openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	var document struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	if err := json.NewDecoder(a.Body).Decode(&document); err != nil {
		t.Fatal(err)
	}
	for _, item := range document.Paths {
		for _, method := range []string{"get", "put", "post", "patch", "delete"} {
			if item[method] != nil {
				n++
			}
		}
	}
	if n < 50 {
		t.Fatalf("the document has %d operations", n)
	}
	return n
}
