// Package runner is background work: tasks enqueued in the store's own transaction, so that a record and the work it asks
// for come to be together or not at all. It fits bureau.Tasks without importing it, and is the only room that
// knows the queue library.
//
// A task is a kind and an identifier, nothing more. It may be run more than once; whoever handles it reads the
// records first and writes what it found in one transaction that also calls Complete, so the result and the end
// of the task come to be together as well.
//
//	waiting → running → done
//	   ↑          │  ↘ given up (after Attempts runs that failed or died)
//	   └──────────┘ failed, or the process died
//
// A process that dies leaves its tasks marked as running. On SQLite one process owns the folder (store.Own), so at
// start everything still running is requeued. On PostgreSQL each process holds an advisory lock under its name
// for as long as it lives; at start and from then on the others look whose lock is free and requeue what those
// were running. A run that was cut off counts as an attempt: a file that brings the program down is given up
// after Attempts runs instead of bringing it down for ever.
//
// Promises: a task enqueued in a transaction that is rolled back is never run; one that is committed is run to its
// end though the process is killed (TestOrphans, bureau's TestKillMinus9).
package runner
