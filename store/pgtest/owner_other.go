//go:build !linux

package pgtest

import (
	"syscall"
	"testing"
)

// owner: elsewhere the server runs as whoever runs the tests.
func owner(testing.TB, string) func() *syscall.SysProcAttr {
	_ = postgresUser
	return func() *syscall.SysProcAttr { return nil }
}
