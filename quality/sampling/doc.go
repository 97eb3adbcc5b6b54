// Package sampling says how many parts of a lot to measure and what the sample then decides.
//
// Job: ISO 2859-1 code letters, single sampling plans for normal, tightened and reduced inspection, the switch between
// them, the chance of acceptance of any plan, and plans that accept on zero. Counts are pieces; AQL is in
// nonconforming items per 100 items (percent up to 10), shares elsewhere are 0..1.
//
// Promises:
//   - all 105 code letters and all 1,248 cells of the single plans agree with the trade's tables, arrows followed
//     (TestCodeLetters, TestEveryCell, TestEveryReducedCell);
//   - the worked examples Q01–Q12 come out as written (TestWorkedExamples), and acceptance chances agree with
//     another program's printed ones (TestPrintedAcceptance);
//   - a sample is never larger than its lot (TestNeverMoreThanTheLot).
//
// An AQL is a property of a stream of lots under the switching rules, not a promise about the share of bad parts
// in one box. Plan.Accept says what the plan really does; print it at twice the AQL beside the plan.
//
// Not here: double and multiple sampling, ISO 2859-2 for
// isolated lots (use Hypergeometric or ZeroPlan), sampling by variables.
//
// Sources: ISO 2859-1:1999 tables 1, 2-A, 2-B = MIL-STD-105E tables I, II-A, II-B, through
// docs/handbook/tables, and table 2-C through testdata (its source stands in the file); the rule that makes the cells is ours, written from their pattern; the switching rules
// are from memory.
package sampling
