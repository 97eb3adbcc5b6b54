// Package inspect holds what was measured against what was asked: characteristics, general tolerances, instruments,
// decisions with uncertainty, capability, gauge studies, the first-article report, and what becomes of parts that do
// not conform.
//
// Units: mm for lengths unless a characteristic says otherwise; degrees for angles; u is a standard uncertainty (k = 1),
// U an expanded one (k = 2). Time comes in as an argument.
//
// Promises:
//   - the trade's worked examples T01–T11 and C01–C04 come out as written (TestWorkedExamples);
//   - the general tolerances and grades carried here are those of docs/handbook/tables, cell by cell
//     (TestGeneralTolerances, TestGrades);
//   - a value is accepted only where the guard band allows it, and what lies between is said to be undecided
//     (TestDecision);
//   - gauge studies and capability agree with another program's printed ones (TestPrintedGaugeStudy,
//     TestPrintedCapability);
//   - a characteristics or results file written here reads back as it was, and no file makes the reader panic
//     (TestCSVRoundTrip, FuzzReadCharacteristics, FuzzReadResults).
//
// Not here: how many parts to measure (quality/sampling), laying a scan on the part (geom/register), the certificate
// (quality/certificate), who may press which button in the program (bureau).
//
// Sources: ISO 2768-1/-2, ISO 286-1 through docs/handbook/tables; ISO 14253-1, AS9102 and the gauge study constants
// from memory, the constants confirmed by reproducing a published study; what is marked common practice is that.
package inspect
