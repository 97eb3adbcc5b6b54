// Package promise turns work and the present load into a ship date with its odds.
//
// The load is played forward from now over working time, many times (shop/capacity), with the spread of estimates,
// failures, rework and absence. Each replication is kept as a tape of who and what was taken when; new work is then
// inserted behind what is already accepted: into gaps of machines and people that nobody holds, never moving
// accepted work. So a hundred options are answered from one play of the load.
//
// The P50 and P90 dates are the business days on which the work is finished in half and in nine tenths of the replications. A
// complete request received after the cut-off counts as received on the next business day (common practice,
// handbook 7.1). Lines of one quotation are asked about singly: two lines that want the same machine do not see each other.
//
// Units: s since 1970 and s of working time; dates in the shop's zone.
// Guarantees: more load never gives an earlier date at the same seed in the mean of replications
// (TestMoreLoadNeverEarlier); the same question gives the same answer (TestSameAnswer).
// Not here: choosing who does what next; that is shopfloor/schedule.
// Source: next-event simulation with common random numbers, e.g. Law, Simulation Modeling and Analysis, ch. 1 and 11.
package promise
