package capacity

import "math"

// Closed forms for one queue, used as naive rules and as checks of the simulation. rho is the load per server, service
// the mean service time (any unit; waits come out in it), ca2 and cs2 squared coefficients of variation.
// Sources: Erlang C and Little as in any queueing text; Kingman 1961; Sakasegawa 1977 (handbook 7.3).

// Kingman approximates the mean wait before one server (exact for Poisson arrivals: Pollaczek-Khinchine).
func Kingman(rho, ca2, cs2, service float64) float64 {
	return rho / (1 - rho) * (ca2 + cs2) / 2 * service
}

// ErlangC is the chance to wait before m servers with Poisson arrivals and exponential service.
func ErlangC(m int, rho float64) float64 {
	a := rho * float64(m)
	// Erlang B by its recursion, then C from B.
	b := 1.0
	for k := 1; k <= m; k++ {
		b = a * b / (float64(k) + a*b)
	}
	return b / (1 - rho*(1-b))
}

// WaitMMm is the exact mean wait before m servers with Poisson arrivals and exponential service.
func WaitMMm(m int, rho, service float64) float64 {
	return ErlangC(m, rho) * service / (float64(m) * (1 - rho))
}

// Sakasegawa approximates the mean wait before m servers for general arrivals and service.
func Sakasegawa(m int, rho, ca2, cs2, service float64) float64 {
	return (ca2 + cs2) / 2 * math.Pow(rho, math.Sqrt(2*float64(m+1))-1) / (float64(m) * (1 - rho)) * service
}

// Little gives the mean time in a stable system that holds inProcess on average and lets out perTime per unit of time.
func Little(inProcess, perTime float64) float64 { return inProcess / perTime }
