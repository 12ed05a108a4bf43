// Package postgrestest gives tests fresh PostgreSQL databases on a real server.
//
// The server, one for each test program, is the first of these:
//
//  1. HATCHWRIGHT_TEST_DATABASE_URL: a server that is running already, as a
//     superuser. Databases named hatchwright_test_... are made there and dropped.
//  2. A container, through testcontainers, of the image that
//     HATCHWRIGHT_TEST_POSTGRES_IMAGE names; without it, of the image that
//     deploy/postgres-image makes, or else of the public one.
//
// With neither a test fails and says what to do. It never skips: a green run
// means that PostgreSQL was tested.
//
// A test program calls Main from its TestMain, so that the container goes when
// the program ends.
package postgrestest
