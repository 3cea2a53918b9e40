//go:build !linux

package field

import "syscall"

// setUserTimeout does nothing where TCP_USER_TIMEOUT is not known; keepalive and
// the write deadline remain.
func setUserTimeout(_, _ string, _ syscall.RawConn) error { return nil }
