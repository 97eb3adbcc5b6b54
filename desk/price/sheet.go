package price

import (
	"fmt"

	"firstoff/desk/estimate"
	"firstoff/money"
	"firstoff/shop"
)

// skillRate is what an hour of a skill costs and where it stands.
func skillRate(r shop.Rates, skill string) (money.Amount, string) {
	switch skill {
	case "finish":
		return r.FinisherPerH, "shop rates: finisher"
	case "inspect":
		return r.InspectorPerH, "shop rates: inspector"
	case "estimate":
		return r.EstimatorPerH, "shop rates: estimator"
	}
	return r.OperatorPerH, "shop rates: operator"
}

func handsItem(block, name, formula string, seconds float64, rate money.Amount, origin string, spent bool) Item {
	h := seconds / 3600
	return Item{Block: block, Name: name, Formula: fmt.Sprintf("%s = %.3f h × %s/h", formula, h, money.Format(rate, 2)), Value: h, Unit: "h",
		Origin: origin, Minor: h * float64(rate), Spent: spent, Conv: true}
}

// Made is what a line made in the shop is priced from.
type Made struct {
	Cat      *shop.Catalogue
	Line     estimate.Line
	Estimate estimate.Estimate
	Works    []estimate.Work
	// ChangeoverS is the hands' time of changing the machine's material for this line; 0 when it is loaded.
	ChangeoverS float64
}

// fileWork is the catalogue's file work, unless the route's operations hold it.
func fileWork(cat *shop.Catalogue, works []estimate.Work) []Item {
	for _, w := range works {
		if w.Op.Skill == "estimate" {
			return nil
		}
	}
	m := cat.Rates.FileWorkMin
	return []Item{handsItem("file work", "file work", fmt.Sprintf("%.4g min once per part number", m), m*60, cat.Rates.EstimatorPerH, "shop rates: estimator", false)}
}

// Sheet lists the costs of a line made on one of the shop's machines.
func (d Made) Sheet() Sheet {
	cat, e, m := d.Cat, d.Estimate, d.Line.Machine
	r := cat.Rates
	s := Sheet{Qty: d.Line.Qty, Yield: 1}
	Terms(&s, cat.Firm)
	if p := d.Line.Process; p != nil && p.Yield > 0 {
		s.Yield, s.YieldOrigin = p.Yield, string(p.Origin)
	} else if m.FailPct > 0 {
		s.Yield, s.YieldOrigin = 1-m.FailPct/100, string(m.Origin)
	}
	q := d.Line.Qty
	s.Items = append(s.Items, fileWork(cat, d.Works)...)
	if d.ChangeoverS > 0 {
		s.Items = append(s.Items, handsItem("set-up", "change material", fmt.Sprintf("%.4g min: not loaded now", d.ChangeoverS/60), d.ChangeoverS, r.OperatorPerH, "shop rates: operator", false))
	}
	s.Items = append(s.Items,
		handsItem("set-up", "set up", fmt.Sprintf("%.4g min × %d builds, share %.3f", m.SetUpMin, e.Builds, e.Share), e.SetUpS, r.OperatorPerH, "shop rates: operator", true),
		handsItem("set-up", "unload", fmt.Sprintf("%d builds, share %.3f", e.Builds, e.Share), e.UnloadS, r.OperatorPerH, "shop rates: operator", true),
	)
	rate := m.Capital.HourRate(r.EnergyPerKWh)
	h := e.ChargedS.Mean / 3600
	s.Items = append(s.Items, Item{Block: "machine", Name: m.Name, Formula: fmt.Sprintf("%.3f h × %.2f/h", h, rate/100), Value: h, Unit: "h", Origin: string(m.Origin),
		Minor: h * rate, Spent: true, Conv: true, Parts: append(append([]estimate.Why(nil), e.Parts...), RateTree(m.Capital, r.EnergyPerKWh))})
	if mat := d.Line.Material; mat != nil {
		g, what := e.StockG.Mean, "parts, purge, waste"
		if e.FreshG.Mean > 0 {
			g, what = e.FreshG.Mean, "new powder, refresh included"
		}
		s.Items = append(s.Items, Item{Block: "material", Name: mat.Name, Formula: fmt.Sprintf("%.1f g (%s) × %s/kg", g, what, money.Format(mat.PricePerKg, 2)), Value: g, Unit: "g",
			Origin: string(mat.Origin), Minor: g / 1000 * float64(mat.PricePerKg), Spent: true,
			Parts: []estimate.Why{{Name: "one part", Value: e.PartG.Mean, Unit: "g"}}})
	}
	if sup := d.Line.Support; sup != nil && e.SupportStockG.Mean > 0 {
		g := e.SupportStockG.Mean
		s.Items = append(s.Items, Item{Block: "support", Name: sup.Name, Formula: fmt.Sprintf("%.1f g × %s/kg", g, money.Format(sup.PricePerKg, 2)), Value: g, Unit: "g",
			Origin: string(sup.Origin), Minor: g / 1000 * float64(sup.PricePerKg), Spent: true,
			Parts: []estimate.Why{{Name: "one part", Value: e.SupportG.Mean, Unit: "g"}}})
	}
	for _, b := range e.Before { // masters and tools
		rate, from := skillRate(r, b.Skill)
		s.Items = append(s.Items, handsItem("hands", b.Name, fmt.Sprintf("%.4g min", b.HandsS/60), b.HandsS, rate, from, false))
	}
	for _, x := range e.Extra {
		s.Items = append(s.Items, Item{Block: "material", Name: x.Name, Formula: x.Formula, Value: x.Value, Unit: x.Unit, Origin: x.Origin, Minor: x.Minor, Spent: x.Name != "pattern"})
	}
	s.Items = append(s.Items, WorkItems(cat, d.Works)...)
	s.Items = append(s.Items, packing(cat, e.PartG.Mean*float64(q))...)
	return s
}

// WorkItems are the costs of people, baths and consumables after the build.
func WorkItems(cat *shop.Catalogue, works []estimate.Work) []Item {
	var out []Item
	for _, w := range works {
		rate, from := skillRate(cat.Rates, w.Op.Skill)
		if w.HandsS > 0 {
			block := "hands"
			if w.Op.Skill == "estimate" {
				block = "file work"
			}
			it := handsItem(block, w.Op.Name, w.Formula, w.HandsS, rate, from, w.Op.Skill != "pack" && w.Op.Skill != "estimate")
			if w.Op.Origin != "" {
				it.Origin += "; times: " + string(w.Op.Origin)
			}
			out = append(out, it)
		}
		if w.Resource != nil && w.ResourceH > 0 {
			out = append(out, Item{Block: "resources", Name: w.Resource.Name, Formula: fmt.Sprintf("%d batches, %.2f h × %s/h", w.Batches, w.ResourceH, money.Format(w.Resource.PerH, 2)),
				Value: w.ResourceH, Unit: "h", Origin: string(w.Op.Origin), Minor: w.ResourceH * float64(w.Resource.PerH), Spent: true, Conv: true})
		}
		if w.Consumables > 0 {
			out = append(out, Item{Block: "resources", Name: w.Op.Name + ", consumables", Formula: "per batch and per cm²", Value: w.Consumables / 100, Unit: "", Origin: string(w.Op.Origin),
				Minor: w.Consumables, Spent: true})
		}
	}
	return out
}

func packing(cat *shop.Catalogue, g float64) []Item {
	r := cat.Rates
	return []Item{
		{Block: "packing", Name: "packing", Formula: "fixed", Value: 1, Origin: "shop rates", Minor: float64(r.PackingFixed)},
		{Block: "packing", Name: "shipping", Formula: fmt.Sprintf("%s + %.3f kg × %s/kg", money.Format(r.ShippingFixed, 2), g/1000, money.Format(r.ShippingPerKg, 2)), Value: g / 1000, Unit: "kg",
			Origin: "shop rates", Minor: float64(r.ShippingFixed) + g/1000*float64(r.ShippingPerKg)},
	}
}

// RateTree explains an hour rate (handbook 4.1): values in minor units an hour.
func RateTree(k shop.Capital, energyPerKWh float64) estimate.Why {
	h := k.HoursPerYear * k.UtilPct / 100
	w := estimate.Why{Name: "hour rate", Formula: "(depreciation + interest + maintenance + floor)/hours + energy + consumables", Value: k.HourRate(energyPerKWh), Unit: "minor/h"}
	if h <= 0 || k.LifeYears <= 0 {
		return w
	}
	per := func(name, formula string, v float64) estimate.Why {
		return estimate.Why{Name: name, Formula: formula, Value: v, Unit: "minor/h"}
	}
	w.Parts = []estimate.Why{
		per("depreciation", fmt.Sprintf("(%s − %s)/%.3g years/%.0f h", money.Format(k.Price, 2), money.Format(k.Residual, 2), k.LifeYears, h), float64(k.Price-k.Residual)/k.LifeYears/h),
		per("interest", fmt.Sprintf("%.3g %% of mean capital", k.InterestPct), k.InterestPct/100*float64(k.Price+k.Residual)/2/h),
		per("maintenance", "a year", float64(k.MaintPerYear)/h),
		per("floor", fmt.Sprintf("%.3g m²", k.FloorM2), k.FloorM2*float64(k.FloorPerM2)/h),
		per("energy", fmt.Sprintf("%.3g kW", k.PowerKW), k.PowerKW*energyPerKWh),
		per("consumables", "", float64(k.ConsumablesPerH)),
	}
	return w
}
