// Package work says what is left to do: open orders, less what lies behind them on the floor, as jobs for whoever plays
// them forward (shop/capacity, desk/promise) or arranges them (shopfloor/schedule).
//
// A line of an order is one job of the operations it was quoted with. What its pieces have passed is gone from it; pieces laid
// into a build of the floor wait for that build, which is a job of its own, as is a build several lines are to share.
//
// Promises: nothing done lengthens what is left, and a line with nothing behind it is left whole (TestLeft); lines that share a
// build take its time once (TestShared).
// Units: s, instants in s since 1970. Nothing reads a clock.
package work
