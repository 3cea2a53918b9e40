package kill

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// injector stands between the daemon and the kernel (seccomp_unotify(2)): it counts the
// calls of each kind, over all threads of the process and its children together, and lets
// some of one kind fail. Everything else goes to the kernel.
type injector struct {
	state string
	kinds []kind
	fail  failing       // nth 0: nothing fails
	done  chan struct{} // closed when the process and its children are gone

	mu   sync.Mutex
	made []int // by kind
	hit  int   // calls that were made to fail
}

// kind is calls on files of the state directory that are counted together.
type kind struct {
	calls []string
	files []string
}

func (k kind) String() string {
	return strings.Join(k.calls, ",") + " of " + strings.Join(k.files, ",")
}

// callNumbers are those that can be stopped at.
var callNumbers = map[string]uint32{"pwrite64": unix.SYS_PWRITE64, "fdatasync": unix.SYS_FDATASYNC, "openat": unix.SYS_OPENAT,
	"fallocate": unix.SYS_FALLOCATE, "ftruncate": unix.SYS_FTRUNCATE, "fsync": unix.SYS_FSYNC, "write": unix.SYS_WRITE, "renameat": unix.SYS_RENAMEAT}

// The structures of linux/seccomp.h.
type (
	notice struct {
		ID         uint64
		PID, Flags uint32
		Number     uint32
		Arch       uint32
		IP         uint64
		Args       [6]uint64
	}
	answer struct {
		ID    uint64
		Value int64
		Errno int32
		Flags uint32
	}
)

const stageVariable = "RILLGATE_KILL_STAGE"

// stageMain is the process that becomes the daemon: it sets the filter, which stays, and
// hands its listener over by descriptor 3.
func stageMain() {
	text := os.Getenv(stageVariable)
	if text == "" {
		return
	}
	fmt.Fprintln(os.Stderr, become(text, os.Args[1:]))
	os.Exit(1)
}

func become(text string, args []string) error {
	var numbers []uint32
	if err := json.Unmarshal([]byte(text), &numbers); err != nil {
		return err
	}
	env := slices.DeleteFunc(os.Environ(), func(e string) bool { return strings.HasPrefix(e, stageVariable+"=") })
	runtime.LockOSThread() // the filter is the thread's, until it executes the program
	listener, err := filter(numbers)
	if err != nil {
		return err
	}
	if err := unix.Sendmsg(3, []byte{0}, unix.UnixRights(listener), nil, 0); err != nil {
		return fmt.Errorf("hand the filter over: %w", err)
	}
	unix.CloseOnExec(3)
	unix.CloseOnExec(listener)
	return fmt.Errorf("execute %s: %w", args[0], syscall.Exec(args[0], args, env))
}

// filter makes the calls wait for the answer of whoever has the listener. A signal does
// not take one back that was seen, else it would be counted twice.
func filter(numbers []uint32) (listener int, err error) {
	const waitKillable = 1 << 5 // SECCOMP_FILTER_FLAG_WAIT_KILLABLE_RECV
	program := []unix.SockFilter{{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: 0}}
	for i, n := range numbers {
		program = append(program, unix.SockFilter{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, Jt: uint8(len(numbers) - i), K: n})
	}
	program = append(program, unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_ALLOW},
		unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_USER_NOTIF})
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return 0, fmt.Errorf("promise no new privileges: %w", err)
	}
	prog := unix.SockFprog{Len: uint16(len(program)), Filter: &program[0]}
	fd, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_NEW_LISTENER|waitKillable, uintptr(unsafe.Pointer(&prog)))
	if errno != 0 {
		return 0, fmt.Errorf("filter system calls: %w", errno)
	}
	return int(fd), nil
}

// behind starts the daemon behind an injector.
func (l *lane) behind(x *injector) (*life, error) {
	x.state, x.done, x.made = l.state, make(chan struct{}), make([]int, len(x.kinds))
	var numbers []uint32
	for _, k := range x.kinds {
		for _, name := range k.calls {
			if n := callNumbers[name]; !slices.Contains(numbers, n) {
				numbers = append(numbers, n)
			}
		}
	}
	text, err := json.Marshal(numbers)
	if err != nil {
		return nil, err
	}
	pair, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_STREAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	ours, theirs := os.NewFile(uintptr(pair[0]), "ours"), os.NewFile(uintptr(pair[1]), "theirs")
	defer ours.Close()
	cmd := exec.Command("/proc/self/exe", l.program, "run", "--config", l.config, "--state", l.state)
	cmd.Env, cmd.ExtraFiles = append(os.Environ(), stageVariable+"="+string(text)), []*os.File{theirs}
	v := l.launch(cmd)
	_ = theirs.Close() // the child has its own
	listener, err := received(ours)
	if err != nil {
		return nil, fmt.Errorf("await the filter: %w: %s", err, v.said())
	}
	go x.serve(listener)
	return v, nil
}

// received gives the descriptor that came over a socket.
func received(from *os.File) (int, error) {
	conn, err := net.FileConn(from)
	if err != nil {
		return 0, err
	}
	defer conn.Close()
	oob := make([]byte, unix.CmsgSpace(4))
	_, n, _, _, err := conn.(*net.UnixConn).ReadMsgUnix(make([]byte, 1), oob)
	if err != nil {
		return 0, err
	}
	messages, err := unix.ParseSocketControlMessage(oob[:n])
	if err != nil || len(messages) == 0 {
		return 0, errors.Join(err, errors.New("no descriptor came"))
	}
	fds, err := unix.ParseUnixRights(&messages[0])
	if err != nil {
		return 0, err
	}
	return fds[0], nil
}

// serve answers until the filter has no user any more.
func (x *injector) serve(listener int) {
	defer close(x.done)
	defer unix.Close(listener)
	for comes(listener) {
		var n notice
		if errno := ioctl(listener, unix.SECCOMP_IOCTL_NOTIF_RECV, unsafe.Pointer(&n)); errno != 0 {
			continue // it was killed meanwhile
		}
		a := answer{ID: n.ID, Flags: unix.SECCOMP_USER_NOTIF_FLAG_CONTINUE}
		if errno := x.judge(&n); errno != 0 {
			a.Errno, a.Flags = -int32(errno), 0
		}
		_ = ioctl(listener, unix.SECCOMP_IOCTL_NOTIF_SEND, unsafe.Pointer(&a)) // or it was killed meanwhile
	}
}

func ioctl(fd int, request uintptr, at unsafe.Pointer) syscall.Errno {
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), request, uintptr(at))
	return errno
}

// comes waits for a call; false = nobody is left to make one.
func comes(listener int) bool {
	for {
		fds := []unix.PollFd{{Fd: int32(listener), Events: unix.POLLIN}}
		if _, err := unix.Poll(fds, -1); err != nil && !errors.Is(err, unix.EINTR) {
			return false
		}
		if fds[0].Revents&unix.POLLIN != 0 {
			return true
		}
		if fds[0].Revents != 0 {
			return false
		}
	}
}

// judge counts a call and gives the error that it is to have; 0 = none.
func (x *injector) judge(n *notice) syscall.Errno {
	name := x.file(n)
	x.mu.Lock()
	defer x.mu.Unlock()
	for i, k := range x.kinds {
		if !slices.Contains(k.files, name) || !slices.ContainsFunc(k.calls, func(c string) bool { return callNumbers[c] == n.Number }) {
			continue
		}
		x.made[i]++
		if f := &x.fail; i == f.kind && f.nth > 0 && (x.made[i] == f.nth || f.onward && x.made[i] > f.nth) {
			x.hit++
			return f.errno
		}
	}
	return 0
}

// file gives the name in the state directory that a call is about, "." for the directory
// itself, "" for another file. Of a renaming it is the old name.
func (x *injector) file(n *notice) string {
	path := ""
	switch n.Number {
	case unix.SYS_OPENAT, unix.SYS_RENAMEAT:
		path = textAt(n.PID, n.Args[1])
	default:
		path, _ = os.Readlink(fmt.Sprintf("/proc/%d/fd/%d", n.PID, int32(n.Args[0]))) // what is no file has no name
	}
	name, err := filepath.Rel(x.state, path)
	if err != nil || strings.Contains(name, "/") || name == ".." {
		return ""
	}
	return name
}

// textAt reads a text from another process.
func textAt(pid uint32, at uint64) string {
	f, err := os.Open(fmt.Sprintf("/proc/%d/mem", pid))
	if err != nil {
		return ""
	}
	defer f.Close()
	b := make([]byte, 512)
	n, _ := f.ReadAt(b, int64(at)) // the text may end where memory does
	text, _, _ := bytes.Cut(b[:n], []byte{0})
	return string(text)
}

// counted gives how often each kind was called, and how many calls failed.
func (x *injector) counted() (made []int, hit int) {
	x.mu.Lock()
	defer x.mu.Unlock()
	return slices.Clone(x.made), x.hit
}
