package printability

import "firstoff/part"

// trapped: hollows that nothing can leave.
func trapped(q *Question) []part.Finding {
	v, p := q.Facts.TrappedMM3, q.Process
	if v <= 0 {
		return nil
	}
	cm3 := v / 1000
	switch {
	case p.EscapeHoleMM > 0:
		return one(finding(Warning, string(p.Origin)+"; handbook 2.4", cm3, 0, "cm3", "%.2f cm³ are closed in: powder or resin stays inside. Give it two holes of %.1f mm at opposite ends.", cm3, p.EscapeHoleMM))
	case p.Code == "CAST" || p.Code == "CNC":
		return one(finding(Stop, practice, cm3, 0, "cm3", "%.2f cm³ are closed in: %s cannot make a closed hollow in one piece.", cm3, p.Name))
	case p.NeedsSupport:
		return one(finding(Warning, "handbook 2.4", cm3, 0, "cm3", "%.2f cm³ are closed in: support inside stays there. Open it by 5 mm for soluble support, or leave it to sparse fill.", cm3))
	}
	return nil
}
