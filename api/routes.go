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
	{http.MethodGet, "/v1/configurations/{id}/packet", record.RoleShop, (*api).getPacket},
	{http.MethodGet, "/v1/configurations/{id}/mixes", record.RoleShop, (*api).getMixes},

	{http.MethodPost, "/v1/quotes", record.RoleDealer, (*api).makeQuote},
	{http.MethodGet, "/v1/quotes", record.RoleDealer, (*api).listQuotes},
	{http.MethodGet, "/v1/quotes/{id}", record.RoleDealer, (*api).getQuote},
	{http.MethodPost, "/v1/quotes/{id}/withdrawal", record.RoleDealer, (*api).withdrawQuote},

	{http.MethodPost, "/v1/orders", record.RoleDealer, (*api).placeOrder},
	{http.MethodGet, "/v1/orders", record.RoleDealer, (*api).listOrders},
	{http.MethodGet, "/v1/orders/{id}", record.RoleDealer, (*api).getOrder},
	{http.MethodGet, "/v1/orders/{id}/events", record.RoleDealer, (*api).listOrderEvents},
	{http.MethodPost, "/v1/orders/{id}/hold", record.RoleDealer, (*api).holdOrder},
	{http.MethodPost, "/v1/orders/{id}/release", record.RoleDealer, (*api).releaseOrder},
	{http.MethodPost, "/v1/orders/{id}/cancellation", record.RoleDealer, (*api).cancelOrder},
	{http.MethodPost, "/v1/orders/{id}/shipment", record.RoleShop, (*api).shipOrder},
	{http.MethodPut, "/v1/orders/{id}/operations/{operation}/record", record.RoleShop, (*api).recordOperation},

	{http.MethodPost, "/v1/webhooks", record.RoleDealer, (*api).createWebhook},
	{http.MethodGet, "/v1/webhooks", record.RoleDealer, (*api).listWebhooks},
	{http.MethodDelete, "/v1/webhooks/{id}", record.RoleDealer, (*api).deleteWebhook},
	{http.MethodPost, "/v1/webhooks/{id}/secret", record.RoleDealer, (*api).rotateWebhookSecret},
	{http.MethodGet, "/v1/webhooks/{id}/deliveries", record.RoleDealer, (*api).listDeliveries},
	{http.MethodPost, "/v1/deliveries/{id}/resend", record.RoleDealer, (*api).resendDelivery},
	{http.MethodGet, eventsPath, record.RoleDealer, (*api).streamEvents},

	{http.MethodGet, "/v1/shop/profile", record.RoleShop, (*api).getProfile},
	{http.MethodPut, "/v1/shop/profile", record.RoleShop, (*api).putProfile},
	{http.MethodGet, "/v1/shop/profile/versions", record.RoleShop, (*api).listProfiles},
	{http.MethodGet, "/v1/shop/materials", record.RoleShop, (*api).getMaterials},
	{http.MethodPut, "/v1/shop/materials", record.RoleShop, (*api).putMaterials},
	{http.MethodGet, "/v1/shop/materials/versions", record.RoleShop, (*api).listMaterials},
	{http.MethodPost, "/v1/shop/price-books", record.RoleShop, (*api).addPriceBook},
	{http.MethodGet, "/v1/shop/price-books", record.RoleShop, (*api).listPriceBooks},
	{http.MethodGet, "/v1/shop/price-books/{version}", record.RoleShop, (*api).getPriceBook},

	{http.MethodGet, "/v1/shop/schedule", record.RoleShop, (*api).getShopSchedule},
	{http.MethodGet, "/v1/shop/load", record.RoleShop, (*api).getShopLoad},
	{http.MethodGet, "/v1/shop/calibration", record.RoleShop, (*api).getShopCalibration},

	{http.MethodPost, "/v1/molds", record.RoleShop, (*api).registerMold},
	{http.MethodGet, "/v1/molds", record.RoleDealer, (*api).listMolds},
	{http.MethodGet, "/v1/molds/{id}", record.RoleDealer, (*api).getMold},
	{http.MethodPatch, "/v1/molds/{id}", record.RoleShop, (*api).changeMold},

	{http.MethodGet, "/v1/stock", record.RoleShop, (*api).getStock},
	{http.MethodGet, "/v1/stock/lots", record.RoleShop, (*api).listLots},
	{http.MethodPost, "/v1/stock/moves", record.RoleShop, (*api).moveStock},
	{http.MethodGet, "/v1/stock/moves", record.RoleShop, (*api).listStockMoves},
	{http.MethodGet, "/v1/stock/shortages", record.RoleShop, (*api).listShortages},

	{http.MethodPost, "/v1/dealers", record.RoleShop, (*api).createDealer},
	{http.MethodGet, "/v1/dealers", record.RoleShop, (*api).listDealers},
	{http.MethodPost, "/v1/dealers/{id}/keys", record.RoleShop, (*api).createDealerKey},
	{http.MethodPost, "/v1/keys", record.RoleShop, (*api).createShopKey},
	{http.MethodGet, "/v1/keys", record.RoleShop, (*api).listKeys},
	{http.MethodPost, "/v1/keys/{id}/rotation", record.RoleShop, (*api).rotateKey},
	{http.MethodDelete, "/v1/keys/{id}", record.RoleShop, (*api).revokeKey},

	{http.MethodGet, "/v1/audit", record.RoleShop, (*api).listAudit},

	{http.MethodGet, "/problems/{type}", open, (*api).getProblemPage},
	{http.MethodGet, "/openapi.json", open, (*api).getDocument},
	{http.MethodGet, "/docs", open, (*api).getDocs},
	{http.MethodGet, "/healthz", open, (*api).getHealth},
	{http.MethodGet, "/readyz", open, (*api).getReadiness},
	{http.MethodGet, "/metrics", record.RoleShop, (*api).getMetrics},
}
