// Package printability looks at a part for what will go wrong when it is made: one rule a file, each with its limit, its
// source and, where it has one, its place on the part.
//
// A finding is a note (good to know), a warning (talk about it) or a stop (do not build it so). Rules read the facts first; those
// that need the surface or the bits ask a Geometry, which works them out once and keeps them. Rules that need something
// the question does not bring say nothing.
//
// Units: mm, mm², mm³, degrees from the horizontal, µm for roughness. Sources: docs/handbook/tables/process_limits.csv and
// handbook section 2.4; the formulas stand at the rules.
//
// Promises: findings come in a fixed order and are the same on one core or many (TestSameFindings); each rule finds what was
// built to be found and nothing on the sound block beside it (TestRules).
//
// Not here: what the material stands (desk/advise), poses (geom/pose).
package printability
