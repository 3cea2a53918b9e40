package operator

import (
	"net"
	"os/user"
	"strconv"

	"golang.org/x/sys/unix"
)

// peer asks the kernel who is at the other end, for the journal: "ana (uid 1000)".
func peer(conn *net.UnixConn) string {
	raw, err := conn.SyscallConn()
	if err != nil {
		return "unknown"
	}
	var cred *unix.Ucred
	var credErr error
	err = raw.Control(func(fd uintptr) {
		cred, credErr = unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED)
	})
	if err != nil || credErr != nil {
		return "unknown"
	}
	uid := strconv.FormatUint(uint64(cred.Uid), 10)
	if u, err := user.LookupId(uid); err == nil {
		return u.Username + " (uid " + uid + ")"
	}
	return "uid " + uid
}
