package inspect

import (
	"math"
	"strconv"
	"strings"

	"firstoff/fault"
)

// grades is ISO 286-1 table 1: standard tolerances in µm for nominal sizes over one row's bound up to and including the
// next; 0 where the standard has none. Two public copies disagree for IT01 and IT0 above 50 mm and IT1 above 2000 mm;
// these follow the standard's own formulas.
var grades = []struct {
	over, upTo float64
	um         [20]float64 // IT01 IT0 IT1 … IT18
}{
	{0, 3, [20]float64{0.3, 0.5, 0.8, 1.2, 2, 3, 4, 6, 10, 14, 25, 40, 60, 100, 140, 250, 400, 600, 1000, 1400}},
	{3, 6, [20]float64{0.4, 0.6, 1, 1.5, 2.5, 4, 5, 8, 12, 18, 30, 48, 75, 120, 180, 300, 480, 750, 1200, 1800}},
	{6, 10, [20]float64{0.4, 0.6, 1, 1.5, 2.5, 4, 6, 9, 15, 22, 36, 58, 90, 150, 220, 360, 580, 900, 1500, 2200}},
	{10, 18, [20]float64{0.5, 0.8, 1.2, 2, 3, 5, 8, 11, 18, 27, 43, 70, 110, 180, 270, 430, 700, 1100, 1800, 2700}},
	{18, 30, [20]float64{0.6, 1, 1.5, 2.5, 4, 6, 9, 13, 21, 33, 52, 84, 130, 210, 330, 520, 840, 1300, 2100, 3300}},
	{30, 50, [20]float64{0.6, 1, 1.5, 2.5, 4, 7, 11, 16, 25, 39, 62, 100, 160, 250, 390, 620, 1000, 1600, 2500, 3900}},
	{50, 80, [20]float64{0.8, 1.2, 2, 3, 5, 8, 13, 19, 30, 46, 74, 120, 190, 300, 460, 740, 1200, 1900, 3000, 4600}},
	{80, 120, [20]float64{1, 1.5, 2.5, 4, 6, 10, 15, 22, 35, 54, 87, 140, 220, 350, 540, 870, 1400, 2200, 3500, 5400}},
	{120, 180, [20]float64{1.2, 2, 3.5, 5, 8, 12, 18, 25, 40, 63, 100, 160, 250, 400, 630, 1000, 1600, 2500, 4000, 6300}},
	{180, 250, [20]float64{2, 3, 4.5, 7, 10, 14, 20, 29, 46, 72, 115, 185, 290, 460, 720, 1150, 1850, 2900, 4600, 7200}},
	{250, 315, [20]float64{2.5, 4, 6, 8, 12, 16, 23, 32, 52, 81, 130, 210, 320, 520, 810, 1300, 2100, 3200, 5200, 8100}},
	{315, 400, [20]float64{3, 5, 7, 9, 13, 18, 25, 36, 57, 89, 140, 230, 360, 570, 890, 1400, 2300, 3600, 5700, 8900}},
	{400, 500, [20]float64{4, 6, 8, 10, 15, 20, 27, 40, 63, 97, 155, 250, 400, 630, 970, 1550, 2500, 4000, 6300, 9700}},
	{500, 630, [20]float64{0, 0, 9, 11, 16, 22, 32, 44, 70, 110, 175, 280, 440, 700, 1100, 1750, 2800, 4400, 7000, 11000}},
	{630, 800, [20]float64{0, 0, 10, 13, 18, 25, 36, 50, 80, 125, 200, 320, 500, 800, 1250, 2000, 3200, 5000, 8000, 12500}},
	{800, 1000, [20]float64{0, 0, 11, 15, 21, 28, 40, 56, 90, 140, 230, 360, 560, 900, 1400, 2300, 3600, 5600, 9000, 14000}},
	{1000, 1250, [20]float64{0, 0, 13, 18, 24, 33, 47, 66, 105, 165, 260, 420, 660, 1050, 1650, 2600, 4200, 6600, 10500, 16500}},
	{1250, 1600, [20]float64{0, 0, 15, 21, 29, 39, 55, 78, 125, 195, 310, 500, 780, 1250, 1950, 3100, 5000, 7800, 12500, 19500}},
	{1600, 2000, [20]float64{0, 0, 18, 25, 35, 46, 65, 92, 150, 230, 370, 600, 920, 1500, 2300, 3700, 6000, 9200, 15000, 23000}},
	{2000, 2500, [20]float64{0, 0, 22, 30, 41, 55, 78, 110, 175, 280, 440, 700, 1100, 1750, 2800, 4400, 7000, 11000, 17500, 28000}},
	{2500, 3150, [20]float64{0, 0, 26, 36, 50, 68, 96, 135, 210, 330, 540, 860, 1350, 2100, 3300, 5400, 8600, 13500, 21000, 33000}},
}

// gradeNames are the columns of grades.
var gradeNames = strings.Fields("IT01 IT0 IT1 IT2 IT3 IT4 IT5 IT6 IT7 IT8 IT9 IT10 IT11 IT12 IT13 IT14 IT15 IT16 IT17 IT18")

// GradeUM is the standard tolerance in µm of a grade ("IT7") at a nominal size in mm.
func GradeUM(nominal float64, grade string) (float64, error) {
	col := -1
	for i, n := range gradeNames {
		if strings.EqualFold(strings.TrimSpace(grade), n) {
			col = i
		}
	}
	if col < 0 {
		return 0, fault.New(fault.Invalid, "grade_unknown", "grade", "there is no tolerance grade %q; use IT01, IT0, IT1 to IT18", grade)
	}
	for _, r := range grades {
		if nominal > r.over && nominal <= r.upTo {
			if r.um[col] == 0 {
				return 0, fault.New(fault.Unsupported, "grade_not_there", "grade", "%s ends at 500 mm; state the tolerance for %g mm in figures", gradeNames[col], nominal)
			}
			return r.um[col], nil
		}
	}
	return 0, fault.New(fault.Unsupported, "grade_size", "nominal", "grades are given for sizes above 0 up to 3150 mm, not for %g; state the tolerance in figures", nominal)
}

// UnitUM is the tolerance unit in µm at a size in mm: i = 0.45·∛D + 0.001·D up to 500 mm, I = 0.004·D + 2.1 above
// (ISO 286-1, old annex).
func UnitUM(d float64) float64 {
	if d > 500 {
		return 0.004*d + 2.1
	}
	return 0.45*math.Cbrt(d) + 0.001*d
}

// units are the tolerance units of IT5 to IT18.
var units = []float64{7, 10, 16, 25, 40, 64, 100, 160, 250, 400, 640, 1000, 1600, 2500}

// GradeOf is the grade a deviation shows: the number of tolerance units in it, and the finest grade that allows as many
// (the method of studies of printing accuracy). Deviations finer than IT5 count as IT5, coarser than IT18 give "".
func GradeOf(nominal, deviation float64) (n float64, grade string) {
	n = 1000 * math.Abs(deviation) / UnitUM(nominal)
	for i, u := range units {
		if n <= u {
			return n, "IT" + strconv.Itoa(5+i)
		}
	}
	return n, ""
}
