// Package sqlite keeps everything in one SQLite file, inside the process: the
// store for a shop that runs one copy of the service.
//
// The file is in write-ahead mode and every commit reaches the disk before it is
// reported (synchronous = FULL). One connection writes, several read: SQLite lets
// one writer in at a time, and writers waiting in Go's queue neither spin nor
// time out. Write transactions take the write lock when they begin; begun as
// readers, two that turn into writers would fail each other with "database is
// locked" whatever the time-out.
//
// Times are Unix milliseconds, ids text, documents text. Ownership is enforced by
// the queries here alone: SQLite has no row-level security.
//
// Other processes on the same machine may open the file too, such as a migration
// or a backup. A network file system is no place for it.
package sqlite
