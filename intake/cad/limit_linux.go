package cad

import "syscall"

const rlimitData = 2 // RLIMIT_DATA, which package syscall does not name

// limitProcess has the system refuse a child more private memory than the guest's cap and as much again (at
// least 2 GiB) for the engine and the answer; a crash leaves no core file.
func limitProcess(memory int64) {
	_ = syscall.Setrlimit(syscall.RLIMIT_CORE, &syscall.Rlimit{})
	n := uint64(memory + max(memory, 2<<30))
	var have syscall.Rlimit
	if syscall.Getrlimit(rlimitData, &have) == nil && have.Max > n {
		_ = syscall.Setrlimit(rlimitData, &syscall.Rlimit{Cur: n, Max: n})
	}
}
