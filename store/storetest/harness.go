package storetest

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Harness is an engine as the suite needs it.
type Harness struct {
	// Migrated opens a store with the newest schema and no records. It is closed
	// and removed when the test ends; closing it earlier is harmless.
	Migrated func(t *testing.T) store.Store

	// Empty opens a store with no schema, likewise.
	Empty func(t *testing.T) Upgradable

	// Reopen opens what a store of Migrated holds once more, beside it.
	Reopen func(t *testing.T, s store.Store) store.Store

	// Raw runs one statement past the queries of the engine, within the scope as
	// far as the engine knows one, and tells how many rows it returned or changed.
	Raw func(ctx context.Context, s store.Store, scope store.Scope, statement string) (int64, error)

	// Bytes and Time write a value as the engine's statements and columns have it.
	Bytes func([]byte) string
	Time  func(time.Time) string

	// Alone: the engine can tell that no other process has the store open.
	Alone bool

	// RowSecurity: the database itself keeps statements within their scope.
	RowSecurity bool
}

// Upgradable is a store that can be brought to any version of its schema.
type Upgradable interface {
	store.Store
	MigrateTo(ctx context.Context, version int64) (applied []int64, err error)
}

// Run runs the suite.
func Run(t *testing.T, h Harness) {
	for _, c := range []struct {
		name  string
		check func(*testing.T, Harness)
	}{
		{"Dealers", testDealers},
		{"Keys", testKeys},
		{"FirstKeyRace", testFirstKeyRace},
		{"KeyRotation", testKeyRotation},
		{"KeysHeld", testKeysHeld},
		{"Quotas", testQuotas},
		{"QuotaRace", testQuotaRace},
		{"Configurations", testConfigurations},
		{"ConfigurationsSupersede", testSupersede},
		{"ConfigurationFilters", testConfigurationFilters},
		{"Paging", testPaging},
		{"PagingUnderInserts", testPagingUnderInserts},
		{"PagingUnderWrites", testPagingUnderWrites},
		{"Cursors", testCursors},
		{"ShopDocuments", testShopDocuments},
		{"ShopDocumentRace", testShopDocumentRace},
		{"Idempotency", testIdempotency},
		{"IdempotencyCallers", testIdempotencyCallers},
		{"IdempotencyRenewal", testIdempotencyRenewal},
		{"IdempotencyFree", testIdempotencyFree},
		{"IdempotencyScopes", testIdempotencyScopes},
		{"IdempotencyRace", testIdempotencyRace},
		{"IdempotencyTakeoverRace", testIdempotencyTakeoverRace},
		{"IdempotencyLostClaim", testLostClaim},
		{"IdempotencySweep", testSweep},
		{"Transactions", testTransactions},
		{"TransactionsAfterErrors", testTransactionsAfterErrors},
		{"TransactionsIsolated", testTransactionsIsolated},
		{"TransactionsReadThenWrite", testTransactionsReadThenWrite},
		{"Scopes", testScopes},
		{"RowSecurity", testRowSecurity},
		{"NeverChanges", testNeverChanges},
		{"Invalid", testInvalid},
		{"ByteForByte", testByteForByte},
		{"Kept", testKept},
		{"Migrations", testMigrations},
		{"MigrationRace", testMigrationRace},
		{"Quotes", testQuotes},
		{"Orders", testOrders},
		{"OrderRace", testOrderRace},
		{"Events", testEvents},
		{"EventsUnderWriters", testEventsUnderWriters},
		{"Webhooks", testWebhooks},
		{"Deliveries", testDeliveries},
		{"DeliveryRace", testDeliveryRace},
		{"PendingHeld", testPendingHeld},
		{"RowSecurityOfOrders", testRowSecurityOfOrders},
		{"Molds", testMolds},
		{"MoldsNear", testMoldsNear},
		{"MoldReservations", testMoldReservations},
		{"MoldReservationRace", testMoldReservationRace},
		{"Stock", testStock},
		{"StockBook", testStockBook},
		{"StockRace", testStockRace},
		{"Plans", testPlans},
		{"Observations", testObservations},
		{"RowSecurityOfTheFloor", testRowSecurityOfTheFloor},
		{"Audit", testAudit},
		{"Retention", testRetention},
		{"Unordered", testUnordered},
		{"DerivationParts", testDerivationParts},
		{"Allowances", testAllowances},
		{"AllowanceRace", testAllowanceRace},
		{"Contexts", testContexts},
		{"Closed", testClosed},
	} {
		if strings.HasPrefix(c.name, "RowSecurity") && !h.RowSecurity {
			continue // the engine declares that it has none
		}
		t.Run(c.name, func(t *testing.T) { c.check(t, h) })
	}
}

// epoch is when the suite's records begin; nothing in it reads the clock.
var epoch = time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)

// at is so many milliseconds after epoch.
func at(ms int) time.Time { return epoch.Add(time.Duration(ms) * time.Millisecond) }

// uid is the n-th id; ids rise with n.
func uid(n int) uuid.UUID {
	return uuid.MustParse(fmt.Sprintf("0195500a-0000-7000-8000-%012x", n))
}

func ptr[T any](v T) *T { return &v }

func dealer(n int) record.Dealer {
	return record.Dealer{ID: uid(n), Name: fmt.Sprintf("Brackwater Marine %d", n), Email: "orders@brackwater.example", CreatedAt: at(n)}
}

func key(n int, owner *uuid.UUID) record.Key {
	k := record.Key{ID: uid(n), DealerID: owner, Role: record.RoleStorefront, Name: fmt.Sprintf("key %d", n),
		Hash: record.KeyHash(fmt.Sprint("key ", n)), Prefix: "hw_", CreatedAt: at(n)}
	if owner != nil {
		k.Role = record.RoleDealer
	}
	return k
}

func configuration(n int, owner *uuid.UUID) record.Configuration {
	return record.Configuration{
		ID: uid(n), DealerID: owner, Digest: "sha256:" + strings.Repeat(fmt.Sprintf("%04x", n%65536), 16),
		Units: "mm", Pattern: "flush-ledge", Verdict: "makeable", Name: "fore hatch", Reference: fmt.Sprintf("CB-%d", n),
		CreatedAt: at(n), Revision: record.Revision{Engine: "1", Catalog: "2", PriceBook: "3"}, SchemaVersion: 1,
		Requested:  []byte(`{"units":"mm",  "pattern":"flush-ledge"}`),
		Completed:  []byte(fmt.Sprintf(`{"units":"mm","pattern":"flush-ledge","quantity":%d}`, n)),
		Derivation: []byte(`{"b":1.50,"a":[]}`),
	}
}

func claim(n int) record.IdempotencyClaim {
	return record.IdempotencyClaim{Caller: "key:" + uid(1).String(), Key: "8e03978e-40d5-43dd-bc93-6894a57f9324", Method: "POST", Route: "/v1/configurations",
		BodyHash: record.KeyHash("body"), Token: uid(n), CreatedAt: at(0), LockedUntil: at(60_000), ExpiresAt: at(86_400_000)}
}

func answer() record.Answer {
	return record.Answer{Status: 201, Header: map[string][]string{"Location": {"/v1/configurations/1"}, "Content-Type": {"application/json"}},
		Body: []byte("{\"id\": 1}\n\x00\xff")}
}

// must fails the test on an error.
func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// withDealers puts two dealers, 1 and 2, in.
func withDealers(t *testing.T, s store.Store) (a, b *uuid.UUID) {
	t.Helper()
	for n := 1; n <= 2; n++ {
		must(t, s.Dealers().Insert(t.Context(), store.ShopScope(), dealer(n)))
	}
	return ptr(uid(1)), ptr(uid(2))
}
