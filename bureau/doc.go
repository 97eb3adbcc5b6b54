// Package bureau is the walk itself: one file a step, from a client's upload to an accepted order. It holds no rule of
// its own; rules live in the rooms it calls. It declares what it needs of the outside world as small
// interfaces (ports.go) that store, blob and runner fit without importing it; cmd/firstoff wires them.
//
// One step is one transaction, except analysis, which reads and computes outside any and writes its result in one.
// A transaction travels in the context: every method of Records, Tasks called with the context that InTx hands out
// belongs to it.
//
// Every writing step takes who does it and writes an event to the trail. Steps that change a record take the
// version the person saw; if somebody else changed it meanwhile they get a Conflict "changed_meanwhile" (version 0
// means: whatever it is now).
//
// Promises: an analysis runs to its end once, however often the process is killed (TestKillMinus9); leaving and
// returning loses nothing, since progress is kept in the file's record (TestProgressIsKept).
// Not here: pages, JSON, command lines (web, web/api, cmd).
package bureau
