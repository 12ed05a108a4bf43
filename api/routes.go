package api

import (
	"net/http"

	"hatchwright/service/record"
)

// open marks a route that needs no key.
const open record.Role = ""

// route is one operation: the method and the path as the document writes them,
// the least role that may call it, and the handler.
type route struct {
	method string
	path   string
	role   record.Role
	handle func(*api, *call) error
}

// routes is every route there is, but the pages' own assets under /docs/. A test
// holds it against the document, both ways.
var routes = []route{
	{http.MethodPost, "/v1/check", record.RoleStorefront, (*api).checkConfiguration},
	{http.MethodPost, "/v1/derive", record.RoleStorefront, (*api).derive},
	{http.MethodPost, "/v1/derive/batch", record.RoleStorefront, (*api).deriveBatch},
	{http.MethodPost, "/v1/limits", record.RoleStorefront, (*api).findLimits},
	{http.MethodPost, "/v1/drawings/{drawing}", record.RoleStorefront, (*api).draw},

	{http.MethodPost, "/v1/configurations", record.RoleDealer, (*api).createConfiguration},
	{http.MethodGet, "/v1/configurations", record.RoleDealer, (*api).listConfigurations},
	{http.MethodGet, "/v1/configurations/{id}", record.RoleDealer, (*api).getConfiguration},
	{http.MethodGet, "/v1/configurations/{id}/derivation", record.RoleDealer, (*api).getConfigurationDerivation},
	{http.MethodGet, "/v1/configurations/{id}/drawings", record.RoleDealer, (*api).listDrawings},
	{http.MethodGet, "/v1/configurations/{id}/drawings/{drawing}", record.RoleDealer, (*api).getDrawing},
	{http.MethodGet, "/v1/configurations/{id}/packet", record.RoleDealer, (*api).getPacket},
	{http.MethodGet, "/v1/configurations/{id}/mixes", record.RoleDealer, (*api).getMixes},

	{http.MethodPost, "/v1/dealers", record.RoleShop, (*api).createDealer},
	{http.MethodGet, "/v1/dealers", record.RoleShop, (*api).listDealers},
	{http.MethodPost, "/v1/dealers/{id}/keys", record.RoleShop, (*api).createDealerKey},
	{http.MethodPost, "/v1/keys", record.RoleShop, (*api).createShopKey},
	{http.MethodGet, "/v1/keys", record.RoleShop, (*api).listKeys},
	{http.MethodDelete, "/v1/keys/{id}", record.RoleShop, (*api).revokeKey},

	{http.MethodGet, "/problems/{type}", open, (*api).getProblemPage},
	{http.MethodGet, "/openapi.json", open, (*api).getDocument},
	{http.MethodGet, "/docs", open, (*api).getDocs},
	{http.MethodGet, "/healthz", open, (*api).getHealth},
	{http.MethodGet, "/readyz", open, (*api).getReadiness},
	{http.MethodGet, "/metrics", open, (*api).getMetrics},
}
