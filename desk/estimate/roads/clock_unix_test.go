//go:build unix

package roads

import "syscall"

// processorS is the processor time this process has used, s: unlike wall time it does not mind what else runs.
func processorS() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}
