package cad

import (
	"os"
	"path/filepath"

	"firstoff/fault"
)

// cacheFolder makes sure of the folder for the compiled kernel. What lies in it is run as machine code in the
// child, so nobody else may write there.
func cacheFolder(dir string) (string, error) {
	if dir == NoCache {
		return "", nil
	}
	if dir == "" {
		user, err := os.UserCacheDir()
		if err != nil { // no home: compile each time
			return "", nil
		}
		dir = filepath.Join(user, "firstoff", "cad")
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fault.Because(err, fault.Internal, "cad_cache", dir, "The folder for the compiled CAD kernel cannot be made.")
	}
	st, err := os.Stat(dir)
	if err == nil && st.Mode().Perm()&0o022 != 0 {
		return "", fault.New(fault.Internal, "cad_cache", dir, "The folder for the compiled CAD kernel may be written by others; it must be writable by this user only (mode 0700).")
	}
	return filepath.Clean(dir), nil
}
