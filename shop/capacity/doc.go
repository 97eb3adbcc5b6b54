// Package capacity plays the shop's present work forward over working time, many times, and says when each job
// is done and what it waited for. It decides nothing: shopfloor/schedule plans, desk/promise promises; both ask
// the same simulation.
//
// # What is simulated
//
// A job is a sequence of operations. An operation holds one of its alternative resources (machine, bath, oven,
// partner), or hands (a person with a skill), or both, or neither (drying in a rack). Four ways of working:
//
//	resource only           runs on the resource's own calendar
//	resource, unattended    a person starts it (PeopleSeconds), it runs on alone through nights and weekends, and the
//	                        resource stays taken until a person has unloaded it (UnloadSeconds)
//	resource, attended      person and resource together for the whole time, broken off at the end of a shift
//	people only             hand work, broken off at the end of a shift
//
// Events are ends of work, people coming free, calendars opening and operations becoming ready. At each of them
// whatever can start does start, the most urgent first (see Rule), a changeover counting against a candidate. Nothing
// looks ahead: the drawn duration of an operation is not known before it has ended.
//
// # Spread
//
// Durations are drawn around their mean (lognormal unless said otherwise), operations fail and are repeated, finished
// jobs are rejected and redone, machines break down, people stay away. Each draw depends only on the seed, the
// replication, and the names of job and operation, so that the same job meets the same luck whatever else is in the
// load (common random numbers; Law, Simulation Modeling and Analysis, ch. 11), and so that the result is the same
// on one core or many (TestSameOnOneCoreOrMany).
//
// Units: times in s since 1970 (UTC), durations in s. Nothing reads a clock.
//
// Held against: exact queueing results (TestQueueSanity and its neighbours, handbook rows L01-L06).
package capacity
