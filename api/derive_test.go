package api

import (
	"net/http"
	"testing"

	"hatchwright/openapi"
)

const small = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60}}`

func TestDerive(t *testing.T) {
	b := newBench(t)
	a := b.send(http.MethodPost, "/v1/check", b.shop, small)
	if a.status != http.StatusOK {
		t.Fatalf("check: %d %s", a.status, a.body)
	}
	var r openapi.Ruling
	strict(t, a.body, &r)
	t.Logf("%s", a.body)
	a = b.send(http.MethodPost, "/v1/derive", b.shop, small)
	if a.status != http.StatusOK {
		t.Fatalf("derive: %d %s", a.status, a.body)
	}
	var d openapi.Derivation
	strict(t, a.body, &d)
	t.Logf("%d bytes", len(a.body))
	t.Logf("%s", a.body)
}
