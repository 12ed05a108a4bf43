package api

import (
	"bytes"
	"compress/gzip"
	"io"
	"io/fs"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/swaggest/swgui/v5/static"
)

// TestDocsAssetsAreCompressedOnce fetches every script, style and picture of the
// reference page as a browser does and as others do. The answer is the file as it is in
// the binary, compressed once where that is asked for and not at all otherwise.
func TestDocsAssetsAreCompressedOnce(t *testing.T) {
	b := newBench(t)
	files, err := fs.ReadDir(static.FS, ".")
	if err != nil {
		t.Fatal(err)
	}
	zipped := 0
	for _, f := range files {
		want, err := fs.ReadFile(static.FS, f.Name())
		if err != nil {
			t.Fatal(err)
		}
		name, inZip := strings.CutSuffix(f.Name(), ".gz")
		if inZip {
			want = unzip(t, want)
		}
		for _, c := range []struct {
			name, accept string
			zip          bool
		}{
			{"a browser", "gzip, deflate, br, zstd", true},
			{"gzip alone", "gzip", true},
			{"gzip rather than not", "gzip;q=1.0, identity;q=0.5", true},
			{"identity", "identity", false},
			{"no header", "", false},
			{"anything", "*", false}, // the files' own server looks for the word
			{"anything but gzip", "gzip;q=0, br", false},
			{"another coding", "br", false},
		} {
			for _, method := range []string{http.MethodGet, http.MethodHead} {
				t.Run(name+" "+c.name+" "+method, func(t *testing.T) {
					r, err := http.NewRequest(method, b.server.URL+"/docs/"+name, nil)
					if err != nil {
						t.Fatal(err)
					}
					if c.accept != "" {
						r.Header.Set("Accept-Encoding", c.accept)
					}
					transport := &http.Transport{DisableCompression: true}
					defer transport.CloseIdleConnections()
					a, err := transport.RoundTrip(r)
					if err != nil {
						t.Fatal(err)
					}
					defer a.Body.Close()
					body, err := io.ReadAll(a.Body)
					if err != nil {
						t.Fatal(err)
					}
					if a.StatusCode != http.StatusOK {
						t.Fatalf("status %d, want 200", a.StatusCode)
					}
					coding := strings.Join(a.Header.Values("Content-Encoding"), ",")
					if coding != "" && coding != "gzip" {
						t.Fatalf("Content-Encoding %q, want gzip or none", coding)
					}
					if coding == "gzip" && !c.zip {
						t.Errorf("it is compressed, and that was not asked for")
					}
					if c.zip && inZip && coding != "gzip" {
						t.Errorf("it is not compressed")
					}
					if vary := strings.Join(a.Header.Values("Vary"), ","); inZip && !strings.Contains(vary, "Accept-Encoding") {
						t.Errorf("Vary %q, want Accept-Encoding in it", vary)
					}
					if method == http.MethodHead {
						return
					}
					if n := a.Header.Get("Content-Length"); n != "" && n != strconv.Itoa(len(body)) {
						t.Errorf("Content-Length %s, the body has %d bytes", n, len(body))
					}
					if coding == "gzip" {
						zipped++
						body = unzip(t, body)
					}
					if !bytes.Equal(body, want) {
						t.Errorf("%d bytes, which begin %.20q, want %d that begin %.20q", len(body), body, len(want), want)
					}
				})
			}
		}
	}
	if zipped < 10 {
		t.Errorf("%d answers were compressed, want 10 or more", zipped)
	}
}

func unzip(t *testing.T, body []byte) []byte {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(body))
	if err != nil {
		t.Fatalf("not gzip: %v: %.20q", err, body)
	}
	plain, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return plain
}
