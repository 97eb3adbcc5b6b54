package price

import "math"

// Owning is the cost of a part made all year round on a machine of one's own (the form of Hopkinson & Dickens 2003): what
// make or buy is weighed with. Money in one unit throughout.
type Owning struct {
	PerBuild     float64 // parts
	BuildH       float64
	HoursPerYear float64
	Equipment    float64
	LifeYears    float64
	MaintPerYear float64
	LabourPerH   float64
	LabourMin    float64 // hands a build
	Material     float64 // a part
}

// OwningCost is the answer, money a part.
type OwningCost struct {
	PartsPerH, PartsPerYear, Depreciation float64
	Machine, Labour, Material, Total      float64
}

// Cost computes it.
func (o Owning) Cost() OwningCost {
	var c OwningCost
	c.PartsPerH = o.PerBuild / o.BuildH
	c.PartsPerYear = c.PartsPerH * o.HoursPerYear
	c.Depreciation = o.Equipment / o.LifeYears
	c.Machine = (c.Depreciation + o.MaintPerYear) / c.PartsPerYear
	c.Labour = o.LabourPerH * o.LabourMin / 60 / o.PerBuild
	c.Material = o.Material
	c.Total = c.Machine + c.Labour + c.Material
	return c
}

// BreakEven is the quantity at which a tool of the given price with pieces at piece each equals made each.
func BreakEven(tool, piece, made float64) float64 {
	if made <= piece {
		return math.Inf(1)
	}
	return tool / (made - piece)
}
