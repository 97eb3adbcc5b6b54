package estimate

import "math"

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
