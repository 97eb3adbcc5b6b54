package price

import (
	"fmt"
	"math"

	"firstoff/desk/estimate"
	"firstoff/money"
	"firstoff/shop"
)

// Bought is what a line made by a partner is priced from.
type Bought struct {
	Cat       *shop.Catalogue
	Partner   *shop.Partner
	Offer     *shop.PartnerOffer
	Process   *shop.Process
	Qty       int
	VolumeMM3 float64
	AreaMM2   float64
	BoxMM3    float64 // of the smallest box
	PartG     float64
	Works     []estimate.Work
}

// Tools is how many moulds the quantity takes; 0 where the offer has none.
func (b Bought) Tools() int {
	if b.Offer.Mould <= 0 {
		return 0
	}
	life := b.Offer.MouldLife
	if life <= 0 {
		life = 20 // common practice: 15–25 shots
	}
	return (b.Qty + life - 1) / life
}

// Days is the business days the partner needs, transit included.
func (b Bought) Days() int {
	o := b.Offer
	d := o.LeadDays + b.Partner.TransitDays
	if o.Mould > 0 {
		d += o.MasterDays
		d += estimate.CastingDays(b.Qty, max(1, o.ShotsPerDay), max(1, b.Tools())) - 1
	} else if o.PartsPerDay > 0 {
		d += int(math.Ceil(float64(b.Qty)/o.PartsPerDay-1e-9)) - 1
	}
	return max(1, d)
}

// Sheet lists the costs: the partner's parametric rate with its minimum, our handling on it, our own hands.
func (b Bought) Sheet() Sheet {
	cat, o := b.Cat, b.Offer
	s := Sheet{Qty: b.Qty, Yield: 1}
	Terms(&s, cat.Firm)
	q := float64(b.Qty)
	v, a, box := b.VolumeMM3/1000, b.AreaMM2/100, b.BoxMM3/1000
	var parts []Item
	add := func(name, formula string, value float64, unit string, minor float64) {
		if minor > 0 {
			parts = append(parts, Item{Block: "outside work", Name: name, Formula: formula, Value: value, Unit: unit, Origin: string(o.Origin), Minor: minor})
		}
	}
	add("set-up", "per order line", 1, "", float64(o.SetUp))
	add("volume", fmt.Sprintf("%d × %.2f cm³ × %.2f", b.Qty, v, float64(o.PerCM3)/100), v, "cm³", q*v*float64(o.PerCM3))
	add("box", fmt.Sprintf("%d × %.2f cm³ × %.4f", b.Qty, box, o.PerBoxCM3/100), box, "cm³", q*box*o.PerBoxCM3)
	add("surface", fmt.Sprintf("%d × %.1f cm² × %.4f", b.Qty, a, o.PerCM2/100), a, "cm²", q*a*o.PerCM2)
	add("each part", fmt.Sprintf("%d × %s", b.Qty, money.Format(o.PerPart, 2)), q, "", q*float64(o.PerPart))
	stock := math.Max(0, box-v)
	add("stock removed", fmt.Sprintf("%d × (%.2f − %.2f) cm³ × %.4f", b.Qty, box, v, o.RemovePerCM3/100), stock, "cm³", q*stock*o.RemovePerCM3)
	if n := b.Tools(); n > 0 {
		add("silicone tools", fmt.Sprintf("⌈%d/%d⌉ = %d × %s", b.Qty, max(1, o.MouldLife), n, money.Format(o.Mould, 2)), float64(n), "tools", float64(n)*float64(o.Mould))
	}
	var sum money.Amount
	for _, p := range parts {
		sum += money.Round(p.Minor)
	}
	if sum < b.Partner.Minimum {
		d := b.Partner.Minimum - sum
		parts = append(parts, Item{Block: "outside work", Name: "partner's minimum", Formula: fmt.Sprintf("up to %s", money.Format(b.Partner.Minimum, 2)), Value: 1, Origin: string(o.Origin), Minor: float64(d)})
		sum = b.Partner.Minimum
	}
	if h := b.Partner.HandlingPct; h > 0 {
		parts = append(parts, Item{Block: "outside work", Name: "handling", Formula: fmt.Sprintf("%.4g %% of the partner's price", h), Value: h, Unit: "%", Origin: "shop: 10–25 %, common practice", Minor: float64(sum.Times(h / 100))})
	}
	s.Items = parts
	s.Items = append(s.Items, fileWork(cat, b.Works)...)
	s.Items = append(s.Items, WorkItems(cat, b.Works)...)
	s.Items = append(s.Items, packing(cat, b.PartG*q)...)
	return s
}
