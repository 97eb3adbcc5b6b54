// Package price turns the work of a line into money: a tree from coefficients to a total that explains itself.
//
// Order of the tree (handbook 4.2): file work, set-up, machine, material, support, hands, resources, outside work, packing;
// then the allowance for failures, overhead, margin, rounding. Margin is of the price, a markup is on the cost;
// Price names them apart.
//
// Units: minor units of the shop's currency, integers; every leaf is rounded once, half to even.
//
// Promises:
//   - a node's amount is the exact sum of its children's (TestTreeSums);
//   - unit price × quantity is the total (TestTreeSums);
//   - the trade's worked examples K01–K16 come out as written (TestWorkedExamples).
//
// Not here: hours and grams (desk/estimate), tax (shown on the quotation from shop.Firm).
package price
