// Package appraise is the computing half of the desk: bytes in, parts that can be asked for options out. It
// wires intake, part/survey, printability, desk/offer and desk/promise to what bureau asks for, and is used by the
// command line without any records.
//
// It keeps no state but a cache of played loads (planners), since a hundred options of ten lines are asked
// under the same load. Safe for concurrent use.
package appraise
