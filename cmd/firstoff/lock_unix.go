//go:build unix

package main

import (
	"os"
	"syscall"
)

// lockFile takes a lock that ends with the process, however it ends.
func lockFile(f *os.File) error {
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
}
