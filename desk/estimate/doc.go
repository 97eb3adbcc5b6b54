// Package estimate turns a posed part and a machine into hours, grams and hands, each with a spread.
//
// One file a process family, closed physics over layer sums (no cm³ × factor): extrusion.go, jetting.go,
// powder.go (laser and agent & heat), vat.go (laser and mask), metalbed.go, binder.go, casting.go; textbook.go is the
// whole-build model for when only box and volume are known. way.go lays raster lines of a few cuts to learn how a head travels (profile.go and
// props.go keep what it learnt); uncertain.go carries errors through sums by their sources; coefficients.go takes in what actuals said. motion.go is the mechanics of one move, packing.go how many
// parts share a build, operations.go what people and baths do afterwards.
//
// Units: mm, mm², mm³, s, g, °C; minutes and hours only where the catalogue's field names say so.
//
// Promises:
//   - the trade's worked examples B01–B30 come out as written (TestWorkedExamples);
//   - twice the parts never take less than one, and parts sharing a build share its warm-up, layer changes and
//     cool-down (TestSharedBuild);
//   - solid roads weigh what the part's volume weighs, sparse ones less, within the road model (TestSparseLighter).
//
// Not here: money (desk/price), dates (desk/promise), which routes are allowed (desk/advise), the move-by-move
// reference (desk/estimate/roads).
//
// Sources: docs/handbook/tables; Gibson, Rosen & Stucker, Additive Manufacturing Technologies, 2nd ed. 2015,
// chapters 4, 5 and 16; the rest is common practice and says so at the place.
package estimate
