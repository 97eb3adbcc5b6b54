package pgtest

import (
	"os"
	"syscall"
	"testing"
)

// owner gives dir to who will run the server, and says under whom to start its programs. They end with the test.
func owner(t testing.TB, dir string) func() *syscall.SysProcAttr {
	if os.Getuid() != 0 {
		return func() *syscall.SysProcAttr { return &syscall.SysProcAttr{Pdeathsig: syscall.SIGQUIT} }
	}
	uid, gid := postgresUser(t, dir)
	return func() *syscall.SysProcAttr {
		return &syscall.SysProcAttr{Pdeathsig: syscall.SIGQUIT, Credential: &syscall.Credential{Uid: uid, Gid: gid}}
	}
}
