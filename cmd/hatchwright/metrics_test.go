package main

import (
	"net/http"
	"strings"
	"testing"
)

// TestMetricsAddress: without a key metrics are on their own address alone, and there is
// nothing else.
func TestMetricsAddress(t *testing.T) {
	c := config(t)
	c.MetricsAddress = freeAddress(t)
	p, url, stop := start(t, c)
	for _, ask := range []struct {
		name, url, key string
		want           int
	}{
		{"with the rest, no key", url + "/metrics", "", http.StatusUnauthorized},
		{"with the rest, a wrong key", url + "/metrics", "hw_wrong", http.StatusUnauthorized},
		{"with the rest, a shop key", url + "/metrics", p.ShopKey, http.StatusOK},
		{"alone", "http://" + c.MetricsAddress + "/metrics", "", http.StatusOK},
		{"another path", "http://" + c.MetricsAddress + "/v1/keys", p.ShopKey, http.StatusNotFound},
	} {
		t.Run(ask.name, func(t *testing.T) {
			status, body := get(t, ask.url, ask.key)
			if status != ask.want {
				t.Errorf("status %d, want %d", status, ask.want)
			}
			if told := strings.Contains(string(body), "hatchwright_http_requests_total"); told != (ask.want == http.StatusOK) {
				t.Errorf("it tells metrics: %t", told)
			}
		})
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	if a, err := http.Get("http://" + c.MetricsAddress + "/metrics"); err == nil {
		a.Body.Close()
		t.Error("metrics are still served")
	}
	c.MetricsAddress = "127.0.0.1:70000"
	_, _, stop = start(t, c)
	if err := stop(); err == nil || !strings.Contains(err.Error(), "metrics") {
		t.Errorf("an address that cannot be had: %v", err)
	}
}
