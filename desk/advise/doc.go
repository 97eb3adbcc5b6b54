// Package advise says which routes of the shop and its partners can do what the part must do, and why the others cannot.
//
// A route here is a process with a machine (or a partner) and a material; settings, money and dates come later. Every
// route is either feasible with a fitness from 0 to 1 that explains itself, or refused for the one reason that matters
// most, with what would change it. The rules stand in rules.go in the order in which their refusals matter, each with
// its source; material data are typical ranges from the catalogue, taken at the cautious end.
//
// Promises: every machine × material and partner × material is answered once (TestEveryRouteAnswered); a stricter
// requirement never makes a refused route feasible (TestStricterNeverOpens); thirty written cases (TestCases).
//
// Not here: findings about the geometry (printability), poses and options (desk/offer).
package advise
