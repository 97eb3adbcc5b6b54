package main

import (
	"firstoff/appraise"
	"firstoff/intake"
	"firstoff/part"
	"firstoff/part/survey"
)

// reader is the intake door with everything this binary can read.
func reader() intake.Reader { return intake.Reader{} }

// findings are the checks that need no process.
func findings(s *survey.Survey) []part.Finding { return nil }

// newDesk is the computing half of the desk as this binary wires it.
func newDesk() *appraise.Desk { return &appraise.Desk{Reader: reader()} }

// cadAvailable says whether CAD files can be read.
func cadAvailable() error { return nil }
