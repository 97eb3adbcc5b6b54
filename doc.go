// Package firstoff is the tour of the house, in reading order; it holds no code.
//
// The job walks down one corridor. A client's file is read by intake; geom/mesh is its exact surface and geom/solid
// its bit solid; printability finds what is hard about it; desk/advise says which routes are feasible and why the others are
// not; desk/estimate gives hours and grams, desk/price money, desk/promise a date; desk/offer puts them side by side and
// desk/quote sends them. An accepted quotation becomes a shopfloor/order; shopfloor/nest and shopfloor/schedule turn orders
// into builds on machines and people. bureau is the walk itself: one file a step. store, blob, runner, paper and web
// are the outside world, and cmd/firstoff wires them.
//
// The floors and what each room is for stand in docs/floors.txt, which floors_test.go holds the tree to.
package firstoff
