// Package offer answers one line of a request with everything the shop and its partners can do: a table of options
// side by side (hours, grams, money, date, fitness) and of refusals, each with the reason that matters.
//
//	routes (desk/advise) × support × layer × infill → pose → layers → estimate → price → date → ranking
//
// An Evaluator belongs to one part and keeps what does not change with the question: candidate poses, the chosen poses,
// layer stacks by pose and layer height. Asking again with another quantity, infill or requirement recomputes only sums.
// It may be used by several goroutines at once.
//
// Promises: every machine × material × support × layer × infill offered is an option or refused (TestEverythingAnswered);
// sparse infill lowers mass, cost and time (TestSparseIsCheaper); a coarse layer on a large part takes 0.26 to 0.5 of the
// time of half of it (TestDraftLayer); money trees sum to the cent (TestTreesSum); the same question gets the same answer on
// one core or many (TestSameAnswer).
//
// Units: mm, s, g, minor units of money. Not here: the rules (desk/advise), physics (desk/estimate), money (desk/price),
// dates (desk/promise, handed in as a function).
package offer
