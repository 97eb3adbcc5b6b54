package estimate

import (
	"fmt"
	"math"
)

// Casting is the work of urethane castings: tools and working days (handbook 3.6, K16).
// Tools needed = ⌈q/life⌉; shots a day = ⌊day/cycle⌋ for each tool running side by side.
func Casting(qty, life int, cycleH, dayH float64, sideBySide int) (tools, days int) {
	if qty <= 0 || life <= 0 {
		return 0, 0
	}
	tools = (qty + life - 1) / life
	perDay := int(math.Floor(dayH/cycleH + 1e-9))
	return tools, CastingDays(qty, perDay, min(max(1, sideBySide), tools))
}

// CastingDays is the working days for qty shots at perDay shots a tool, side by side.
func CastingDays(qty, perDay, sideBySide int) int {
	n := max(1, perDay) * max(1, sideBySide)
	return (qty + n - 1) / n
}

// casting: a master, silicone tools around it, shots one after another in every tool. The cell is busy for its working days; masters and tools
// come before, unattended but for their hands.
func casting(l *Line) Estimate {
	var e Estimate
	l.Packing = Packing{PerBuild: max(1, l.Qty), Columns: 1, Rows: 1, Levels: 1}
	l.frame(&e)
	m, c, s := l.Machine, l.Machine.Cast, l.Stack
	q := float64(l.Qty)
	cycle := (c.ShotMin+c.DemouldMin)/60 + c.CureH
	tools, days := Casting(l.Qty, c.Life, cycle, c.DayH, c.SideBySide)
	side := min(max(1, c.SideBySide), tools)
	rounds := math.Ceil(q / float64(side))
	// the cell works by days: what no longer fits into one waits for the next; the last day ends with its last round
	perDay := math.Max(1, math.Floor(c.DayH/cycle+1e-9))
	last := rounds - (math.Ceil(rounds/perDay)-1)*perDay
	busyH := float64(days-1)*c.DayH + math.Max(1, math.Min(last, perDay))*cycle
	f := one(l.Factor.Roads)
	total := busyH*3600*f + l.Factor.FixedS
	pumpH := (q*c.ShotMin + float64(tools)*c.ToolMin/2) / 60 // vacuum chamber: shots, and the degassing half of tool making
	e.Builds, e.PerBuild = 1, max(1, l.Qty)
	e.BuildS, e.LongestS = Spread{Mean: total}, total
	e.ChargedS = Spread{Mean: pumpH * 3600 * f}
	e.SetUpS = m.SetUpMin * 60
	e.UnloadS = q*(c.ShotMin+c.DemouldMin)*60 + m.UnloadMin*60
	masterS := (c.MasterMin + c.MasterPerCM2Min*s.SurfaceMM2/100) * 60
	toolS := float64(tools) * c.ToolMin * 60
	e.Before = []Step{
		{Operation: "master", Name: "master and its finish", Skill: "finish", HandsS: masterS, ElapsedS: c.MasterH * 3600, SpreadPct: 30, Batch: true, Unattended: true},
		{Operation: "tools", Name: fmt.Sprintf("silicone tools, %d", tools), Skill: "finish", HandsS: toolS, ElapsedS: c.ToolCureH * 3600 * math.Ceil(float64(tools)/math.Max(1, float64(c.SideBySide))), SpreadPct: 20, Batch: true, Unattended: true},
	}
	waste := 1 + c.WastePct/100
	e.PartG = Within(s.VolumeMM3*density(l.Material)*one(l.Factor.Grams), l.gramsPct())
	e.StockG = e.PartG.Times(q * waste)
	w := 2 * c.WallMM
	block := (s.SizeMM.X+w)*(s.SizeMM.Y+w)*(s.SizeMM.Z+w) - s.VolumeMM3
	siliconeKg := block / 1e6 * c.SiliconeGCM3
	o := string(m.Origin)
	e.Extra = []Extra{
		{Name: "pattern", Formula: fmt.Sprintf("%.2f + %.2f cm³ × %.2f", c.MasterFixed/100, s.VolumeMM3/1000, c.MasterPerCM3/100), Value: s.VolumeMM3 / 1000, Unit: "cm³", Minor: c.MasterFixed + c.MasterPerCM3*s.VolumeMM3/1000, Origin: o},
		{Name: "silicone", Formula: fmt.Sprintf("%d tools × %.2f kg (box with %.0f mm of wall, less the part) × %.2f/kg", tools, siliconeKg, c.WallMM, c.SiliconePerKg/100), Value: siliconeKg * float64(tools), Unit: "kg", Minor: siliconeKg * float64(tools) * c.SiliconePerKg, Origin: o},
	}
	e.Parts = []Why{
		hours("shots in the vacuum chamber", fmt.Sprintf("%d × %.0f min; ⌈%d/%d⌉ = %d tools, %d at a time; cycle %.2f h, %d working days of %.1f h", l.Qty, c.ShotMin, l.Qty, c.Life, tools, side, cycle, days, c.DayH), q*c.ShotMin*60*f, o),
		hours("degassing tools", fmt.Sprintf("half of %d × %.0f min", tools, c.ToolMin), float64(tools)*c.ToolMin*30*f, o),
	}
	return e
}
