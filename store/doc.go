// Package store keeps the desk's records in SQL: SQLite (one file in one folder, the default) or PostgreSQL
// (several machines). Both pass one suite, store/storetest. It fits bureau.Records without importing it.
//
// Shape. Every kind of record is a table with the record as JSON in one column, and beside it only those
// columns that are searched, sorted or referred to; both are written by the same statement. Records are read and written
// whole, so more columns would buy nothing but a second truth. What a client was promised (the body of an
// issued quotation) is kept under its own digest and never written again. The trail is a table of its own that
// triggers protect against change.
//
// SQL. One text serves both dialects: plain statements through database/sql, "?" turned into "$1" for
// PostgreSQL, times as fixed-width UTC text with microseconds, yes and no as 0 and 1. No query builder: the statements
// are few and short, real bind parameters go to both drivers, and the task queue shares the same *sql.Tx.
//
// Transactions travel in the context (InTx), so a caller cannot reach past an open transaction for a second
// connection, which on SQLite's single writer would wait for itself.
//
// Durability. SQLite runs in WAL mode with synchronous=FULL: when the client has read "accepted", the acceptance must
// be on the disk even if the power fails the next moment, and under WAL only FULL syncs at each commit (NORMAL
// may lose the last commits, though never corrupt). A desk commits a few times a second, so the price is not felt.
//
// Promises: a record saved with a version that is not the one kept changes nothing (storetest "stale writer");
// events form one chain whatever runs at the same time (storetest "trail under load"); a copy made by Backup
// while others write is whole (TestBackupWhileWriting).
package store
