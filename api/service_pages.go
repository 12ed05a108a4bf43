package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/swaggest/swgui"
	"github.com/swaggest/swgui/v5emb"

	"hatchwright/service/fault"
)

// getDocument gives the document.
func (a *api) getDocument(c *call) error { return c.Blob(http.StatusOK, jsonType, a.json) }

// getDocs gives the reference page.
func (a *api) getDocs(c *call) error {
	c.Response().Header().Set("Content-Security-Policy", a.docs.policy)
	return c.Blob(http.StatusOK, "text/html; charset=utf-8", a.docs.page)
}

var health = []byte(`{"status":"ok"}`)

// getHealth answers as long as the process does.
func (a *api) getHealth(c *call) error { return c.Blob(http.StatusOK, jsonType, health) }

// getReadiness asks the store.
func (a *api) getReadiness(c *call) error {
	if a.draining.Load() {
		return fault.Wrap(fault.Unavailable, errClosing, "The service is shutting down.")
	}
	if err := a.service.Ready(c.Request().Context()); err != nil {
		return err
	}
	return c.Blob(http.StatusOK, jsonType, health)
}

// docsPage is the reference page. Its scripts and styles come from the binary;
// the inline ones are named by their hash in the page's policy, so that no other
// inline script runs there, and none at all elsewhere.
type docsPage struct {
	page   []byte
	policy string
	assets http.Handler
}

var (
	inlineScript = regexp.MustCompile(`(?s)<script>(.*?)</script>`)
)

func newDocsPage(title string) (*docsPage, error) {
	d := &docsPage{assets: v5emb.NewHandlerWithConfig(swgui.Config{Title: title, SwaggerJSON: "/openapi.json", BasePath: "/docs/", ShowTopBar: false})}
	answer := httptest.NewRecorder()
	request, err := http.NewRequestWithContext(context.Background(), http.MethodGet, "/docs/", nil)
	if err != nil {
		return nil, err
	}
	d.assets.ServeHTTP(answer, request)
	if answer.Code != http.StatusOK {
		return nil, fmt.Errorf("api: the reference page gives status %d", answer.Code)
	}
	d.page = bytes.TrimSpace(answer.Body.Bytes())
	d.policy = strings.Join([]string{
		"default-src 'none'",
		"script-src 'self' " + hashes(inlineScript, d.page),
		"style-src 'self' 'unsafe-inline'", // the page's own script writes style attributes
		"img-src 'self' data:",
		"connect-src 'self'",
		"base-uri 'none'",
		"frame-ancestors 'none'",
	}, "; ")
	return d, nil
}

// hashes lists the hashes of a page's inline parts for its policy (CSP level 2).
func hashes(part *regexp.Regexp, page []byte) string {
	var out []string
	for _, m := range part.FindAllSubmatch(page, -1) {
		sum := sha256.Sum256(m[1])
		out = append(out, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	}
	return strings.Join(out, " ")
}

// assetsPath is where the page's scripts and styles are.
const assetsPath = "/docs/"

// asset gives the page's scripts and styles.
func (d *docsPage) asset(c echo.Context) error {
	if strings.Trim(c.Param("*"), "/") == "" {
		return c.Redirect(http.StatusMovedPermanently, "/docs")
	}
	d.assets.ServeHTTP(c.Response(), c.Request())
	return nil
}
