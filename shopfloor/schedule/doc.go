// Package schedule decides who does what next: operations onto machines, people, ovens, baths and partners.
//
// There are two doors.
//
// Solve answers the general contract of `firstoff plan --json` (Problem, Solution): jobs of operations with a choice of
// machines, setups between families, calendars, makespan or weighted tardiness. It is anytime (a plan by
// dispatching rules at once, then better ones), deterministic for a seed when limited by rounds, the same on one core or many
// (TestSameOnOneCoreOrMany), and reports a lower bound no plan can be below (TestSmallExactly). Verify checks a
// solution without sharing code with the solver. Inside, three searches:
//
//	relink.go    makespan without calendars: tabu search on the disjunctive graph (graph.go, tabu.go) and relinking
//	lines.go     single operations on unlike machines with setups: annealing of chains
//	sequence.go  due dates or calendars: annealing of machine sequences along the chains that make late jobs late
//
// Plan and Replan plan the shop itself: builds formed from parts, unattended runs started and unloaded by people in their
// shifts, ovens, partners, changeovers, pinned and frozen decisions, downtime.
//
// Units: whole seconds; instants in s since 1970 in Plan, from any origin in Problem. Nothing reads a clock.
// Not here: placing parts on a platform (shopfloor/nest), odds of a date (desk/promise over shop/capacity).
//
// Sources stand at the functions. Measured gaps to the best known values: tools/planbench.
package schedule
