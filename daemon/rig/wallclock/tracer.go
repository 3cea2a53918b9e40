//go:build linux && amd64

package wallclock

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"strings"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Variables that tell a child what it is.
const (
	clockVariable = "RILLGATE_CLOCK"       // the tracer: the file of its clock
	stageVariable = "RILLGATE_CLOCK_STAGE" // the traced process, before it becomes the program
)

// Main must be called first of all by a program that calls Command: in a child that was
// started to trace, or to be traced, it does that and does not return.
func Main() {
	if os.Getenv(stageVariable) != "" {
		fmt.Fprintln(os.Stderr, becomeProgram(os.Args[1:]))
		os.Exit(1)
	}
	if path := os.Getenv(clockVariable); path != "" {
		code, err := traceProgram(path, os.Args[1:])
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(code)
	}
}

// Command gives a command that runs a program by this clock. Signals to it reach the
// program, and it ends as the program does, or takes it along when it is killed.
func (c *Clock) Command(program string, args ...string) *exec.Cmd {
	cmd := exec.Command("/proc/self/exe", append([]string{program}, args...)...)
	cmd.Env = append(os.Environ(), clockVariable+"="+c.path)
	return cmd
}

// becomeProgram sets the filter and executes the program: the filter stays.
func becomeProgram(args []string) error {
	if err := stopAtClocks(); err != nil {
		return err
	}
	var env []string
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, stageVariable+"=") && !strings.HasPrefix(e, clockVariable+"=") {
			env = append(env, e)
		}
	}
	return fmt.Errorf("execute %s: %w", args[0], syscall.Exec(args[0], args, env))
}

// stopAtClocks makes the two system calls about time stop for the tracer.
func stopAtClocks() error {
	program := []unix.SockFilter{
		{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: 0}, // the call's number
		{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, Jt: 2, K: unix.SYS_CLOCK_GETTIME},
		{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, Jt: 1, K: unix.SYS_ADJTIMEX},
		{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_ALLOW},
		{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_TRACE},
	}
	runtime.LockOSThread() // the promise is the thread's, and so is the filter that needs it
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return fmt.Errorf("promise no new privileges: %w", err)
	}
	prog := unix.SockFprog{Len: uint16(len(program)), Filter: &program[0]}
	if _, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, 0, uintptr(unsafe.Pointer(&prog))); errno != 0 {
		return fmt.Errorf("filter system calls: %w", errno)
	}
	return nil
}

// traced is a program under the tracer.
type traced struct {
	pid    int
	shared *shared
	known  map[int]bool // threads that have stopped for us once
}

const traceOptions = unix.PTRACE_O_TRACESECCOMP | unix.PTRACE_O_TRACECLONE | unix.PTRACE_O_TRACEFORK | unix.PTRACE_O_TRACEVFORK |
	unix.PTRACE_O_TRACEEXEC | unix.PTRACE_O_EXITKILL

// traceProgram runs a program and gives its exit code.
func traceProgram(clock string, args []string) (int, error) {
	runtime.LockOSThread() // a tracer is a thread
	t := &traced{known: map[int]bool{}}
	var err error
	if t.shared, err = mapShared(clock); err != nil {
		return 0, err
	}
	cmd := exec.Command("/proc/self/exe", args...)
	cmd.Env = append(os.Environ(), stageVariable+"=1")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	cmd.SysProcAttr = &syscall.SysProcAttr{Ptrace: true}
	if err := cmd.Start(); err != nil {
		return 0, fmt.Errorf("start %s: %w", args[0], err)
	}
	t.pid = cmd.Process.Pid
	var status unix.WaitStatus
	if _, err := unix.Wait4(t.pid, &status, 0, nil); err != nil {
		return 0, fmt.Errorf("trace %s: %w", args[0], err)
	}
	if err := unix.PtraceSetOptions(t.pid, traceOptions); err != nil {
		return 0, fmt.Errorf("trace %s: %w", args[0], err)
	}
	t.known[t.pid] = true
	t.passSignals()
	t.goOn(t.pid, 0)
	return t.watch()
}

// passSignals hands on what ends or moves the program.
func (t *traced) passSignals() {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP)
	go func() {
		for s := range signals {
			_ = syscall.Kill(t.pid, s.(syscall.Signal)) // it may have ended
		}
	}()
}

// goOn lets a thread go on, with a signal or without. One that is gone needs nothing.
func (t *traced) goOn(tid, sig int) { _ = unix.PtraceCont(tid, sig) }

func (t *traced) watch() (code int, err error) {
	for {
		var status unix.WaitStatus
		tid, err := unix.Wait4(-1, &status, unix.WALL, nil)
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case err != nil:
			return 0, fmt.Errorf("trace: %w", err)
		case status.Exited() && tid == t.pid:
			return status.ExitStatus(), nil
		case status.Signaled() && tid == t.pid:
			return 128 + int(status.Signal()), nil
		case status.Exited(), status.Signaled():
			delete(t.known, tid) // its number may be used again
		case status.Stopped():
			if err := t.stopped(tid, status); err != nil {
				return 0, err
			}
		}
	}
}

// stopped handles one stop of one thread.
func (t *traced) stopped(tid int, status unix.WaitStatus) error {
	sig := status.StopSignal()
	first := !t.known[tid]
	t.known[tid] = true
	var err error
	switch {
	case sig == unix.SIGTRAP && status.TrapCause() == unix.PTRACE_EVENT_EXEC:
		err, sig = hideVDSO(tid), 0
	case sig == unix.SIGTRAP && status.TrapCause() == unix.PTRACE_EVENT_SECCOMP:
		err, sig = t.answer(tid), 0
	case sig == unix.SIGTRAP, first && sig == unix.SIGSTOP:
		sig = 0 // the tracer's own
	}
	if errors.Is(err, unix.ESRCH) {
		err = nil // it was killed meanwhile
	}
	t.goOn(tid, int(sig))
	return err
}

// answer answers a call about time in the kernel's place.
func (t *traced) answer(tid int) error {
	var regs unix.PtraceRegs
	if err := unix.PtraceGetRegs(tid, &regs); err != nil {
		return fmt.Errorf("read registers: %w", err)
	}
	var result int
	var reply []byte
	var at uint64
	switch regs.Orig_rax {
	case unix.SYS_CLOCK_GETTIME:
		var ok bool
		if reply, ok = t.time(int32(regs.Rdi)); !ok {
			return nil // processor time: the kernel's own answer
		}
		at = regs.Rsi
	case unix.SYS_ADJTIMEX:
		reply, result = t.status()
		at = regs.Rdi
	}
	if _, err := unix.PtracePokeData(tid, uintptr(at), reply); err != nil {
		return fmt.Errorf("write the time: %w", err)
	}
	regs.Orig_rax, regs.Rax = ^uint64(0), uint64(result) // the call is not made
	if err := unix.PtraceSetRegs(tid, &regs); err != nil {
		return fmt.Errorf("write registers: %w", err)
	}
	t.shared.answers.Add(1)
	return nil
}

// time gives what a clock shows, as a struct timespec; false = this one is not ours.
func (t *traced) time(clock int32) ([]byte, bool) {
	var offset int64
	switch clock {
	case unix.CLOCK_REALTIME, unix.CLOCK_REALTIME_COARSE:
		offset = t.shared.wall.Load()
	case unix.CLOCK_MONOTONIC, unix.CLOCK_MONOTONIC_RAW, unix.CLOCK_MONOTONIC_COARSE, unix.CLOCK_BOOTTIME:
		offset = t.shared.up.Load()
	default:
		return nil, false
	}
	var now unix.Timespec
	if err := unix.ClockGettime(clock, &now); err != nil {
		return nil, false
	}
	return encode(now.Nano() + offset), true
}

// encode gives a struct timespec; its nanoseconds are never negative, also before 1970.
func encode(nanos int64) []byte {
	seconds, rest := nanos/int64(time.Second), nanos%int64(time.Second)
	if rest < 0 {
		seconds, rest = seconds-1, rest+int64(time.Second)
	}
	return binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(nil, uint64(seconds)), uint64(rest))
}

// status gives a struct timex and the state of the clock (adjtimex(2)).
func (t *traced) status() (reply []byte, state int) {
	var tx unix.Timex
	_, _ = unix.Adjtimex(&tx) // what it cannot read stays zero
	tx.Status &^= unix.STA_UNSYNC
	state = unix.TIME_OK
	if t.shared.synced.Load() == 0 {
		tx.Status |= unix.STA_UNSYNC
		state = unix.TIME_ERROR
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(&tx)), int(unsafe.Sizeof(tx))), state
}

// The auxiliary vector's entries (getauxval(3), linux/auxvec.h).
const (
	entryEnd    = 0
	entryIgnore = 1
	entryVDSO   = 33 // AT_SYSINFO_EHDR
)

// hideVDSO blanks the entry that tells a fresh program of the vDSO. The stack holds the
// arguments, the environment and the auxiliary vector, each ended by a zero.
func hideVDSO(tid int) error {
	var regs unix.PtraceRegs
	if err := unix.PtraceGetRegs(tid, &regs); err != nil {
		return fmt.Errorf("read registers: %w", err)
	}
	word := func(at uint64) (v uint64, err error) {
		var b [8]byte
		_, err = unix.PtracePeekData(tid, uintptr(at), b[:])
		return binary.LittleEndian.Uint64(b[:]), err
	}
	at := regs.Rsp + 8
	for ended := 0; ended < 2; at += 8 {
		v, err := word(at)
		if err != nil {
			return fmt.Errorf("read the stack: %w", err)
		}
		if v == 0 {
			ended++
		}
	}
	for ; ; at += 16 {
		kind, err := word(at)
		if err != nil || kind == entryEnd {
			return err
		}
		if kind == entryVDSO {
			_, err := unix.PtracePokeData(tid, uintptr(at), binary.LittleEndian.AppendUint64(nil, entryIgnore))
			return err
		}
	}
}
