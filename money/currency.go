package money

// Digits is the number of fraction digits of a currency by its ISO 4217 code: 2 unless the standard lists another
// (list from memory; a shop's currency outside it would print with two).
func Digits(code string) int {
	switch code {
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	}
	return 2
}
