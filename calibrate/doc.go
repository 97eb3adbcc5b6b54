// Package calibrate lets what happened correct what is estimated: actual machine hours and grams against the estimate's
// own terms, per machine, material and layer, giving the next coefficient set.
//
// A build's estimate is a sum of terms (roads, layers) computed with all factors at 1, plus hours that are not calibrated
// (warm-up, cool-down). The fit finds a factor for every term and fixed hours a build, none negative, from relative
// errors, so that short and long builds count alike. Gross outliers are recognised and count for nothing, builds that are
// unlike all others cannot pull the fit on their own, older builds fade, and few builds move the catalogue's factors only
// a little: the catalogue counts as so many builds made before the first, and fades like them.
//
// Units: h, g, mm. Shares and spreads are relative (0.05 = 5 per cent); Bias and Spread are of ln(actual/estimate).
//
// Promises:
//   - the regression gives the certified digits of the NIST reference sets (TestCertifiedRegressions);
//   - with one term and no outliers the fit is the handbook's f = (k·f0 + Σxy)/(k + Σx²) (TestShrinkage);
//   - gross outliers and lone unlike builds do not move the fit (TestOutliers, TestLeverage);
//   - on a simulated fleet with hidden coefficients, drift and 5 % gross outliers, after 40 builds a machine the bias of
//     the hours is below 2 % and the spread within 15 % of the noise nobody can estimate (TestFleet);
//   - a jump of a machine raises the alarm within few builds, an even machine hardly ever (TestDriftAlarm);
//   - the same builds give the same set with the same name, in any order (TestSameSet).
//
// Aborted builds are kept but never calibrated on. Not here: prices (desk/price); where actuals come from (bureau).
//
// Sources: docs/handbook section on calibration by actuals; Tukey's biweight and Huber's weights, Beaton and Tukey 1974,
// Huber 1981; bounded influence, Mallows 1975; all from memory. EWMA limits: Roberts 1959, from memory.
package calibrate
