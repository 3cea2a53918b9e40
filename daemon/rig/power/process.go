//go:build linux

package power

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Variables that tell a child of the rig what it is.
const (
	caseVariable = "RILLGATE_POWER_CASE" // the campaign, in JSON
	workVariable = "RILLGATE_POWER_WORK" // the same, for the daemon on the card
	fromVariable = "RILLGATE_POWER_FROM" // the room's time at its start
)

// Main must be called first of all by a program that calls Run: in a child of the rig
// it does the child's work and ends the process; else it returns at once.
func Main() {
	if text := os.Getenv(workVariable); text != "" {
		exit(workMain(text))
	}
	if text := os.Getenv(caseVariable); text != "" {
		exit(caseMain(text))
	}
}

func exit(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// Run runs a campaign in a process and a mount namespace of its own, so that nothing
// stays mounted however it ends. It needs root, /dev/fuse and loop devices.
func Run(ctx context.Context, c Case) (*Result, error) {
	text, err := json.Marshal(c)
	if err != nil {
		return nil, fmt.Errorf("write the campaign: %w", err)
	}
	cmd := exec.CommandContext(ctx, "/proc/self/exe")
	cmd.Env = append(os.Environ(), caseVariable+"="+string(text))
	cmd.SysProcAttr = &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS, Pdeathsig: syscall.SIGKILL}
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	cmd.WaitDelay = time.Second
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("run the campaign: %w: %s", err, errs.String())
	}
	var r Result
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		return nil, fmt.Errorf("read the campaign's result: %w: %s%s", err, out.String(), errs.String())
	}
	return &r, nil
}

func caseMain(text string) error {
	var c Case
	if err := json.Unmarshal([]byte(text), &c); err != nil {
		return fmt.Errorf("read the campaign: %w", err)
	}
	if err := os.Unsetenv(caseVariable); err != nil {
		return err
	}
	r, err := runCase(context.Background(), c)
	if err == nil {
		fmt.Println(r.encode())
	}
	return err
}

// workMain is the daemon on the card, until its input ends. The card is mounted in this
// process's own namespace.
func workMain(text string) error {
	var c Case
	if err := json.Unmarshal([]byte(text), &c); err != nil {
		return fmt.Errorf("read the campaign: %w", err)
	}
	from, err := time.ParseDuration(os.Getenv(fromVariable))
	if err != nil {
		return fmt.Errorf("read the room's time: %w", err)
	}
	if err := os.Unsetenv(workVariable); err != nil {
		return err
	}
	card := filepath.Join(c.Dir, cardMount)
	if err := mount(filepath.Join(c.Dir, fuseMount, fileName), card, c.Mount); err != nil {
		return err
	}
	if c.NoSync {
		if err := swallowSyncs(); err != nil {
			return err
		}
	}
	if err := work(context.Background(), c.Dir, from, listen(os.Stdin)); err != nil {
		return err
	}
	if err := unix.Unmount(card, 0); err != nil {
		return fmt.Errorf("unmount the card: %w", err)
	}
	return nil
}

// What the daemon's process is told, a byte each; the end of its input ends it.
const (
	pauseWord = 'p'
	goOnWord  = 'g'
)

// listen gives what is told, and closes when nothing more will be.
func listen(input io.Reader) <-chan byte {
	words := make(chan byte)
	go func() {
		defer close(words)
		var word [1]byte
		for {
			if _, err := io.ReadFull(input, word[:]); err != nil {
				return // the end of it, whatever the reason
			}
			words <- word[0]
		}
	}()
	return words
}

// workProcess is the daemon's process.
type workProcess struct {
	cmd   *exec.Cmd
	input io.WriteCloser
	said  bytes.Buffer
	ended chan struct{}
	err   error // how it ended
	once  sync.Once
}

func startWork(c Case, from time.Duration) (*workProcess, error) {
	text, err := json.Marshal(c)
	if err != nil {
		return nil, fmt.Errorf("write the campaign: %w", err)
	}
	p := &workProcess{cmd: exec.Command("/proc/self/exe"), ended: make(chan struct{})}
	p.cmd.Env = append(os.Environ(), workVariable+"="+string(text), fromVariable+"="+from.String())
	p.cmd.Stderr = &p.said
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS, Pdeathsig: syscall.SIGKILL}
	if p.input, err = p.cmd.StdinPipe(); err != nil {
		return nil, fmt.Errorf("start the daemon: %w", err)
	}
	if err := p.cmd.Start(); err != nil {
		return nil, fmt.Errorf("start the daemon: %w", err)
	}
	go func() {
		p.err = p.cmd.Wait()
		close(p.ended)
	}()
	return p, nil
}

// words gives what it said, once it has ended.
func (p *workProcess) words() string {
	p.kill()
	return p.said.String()
}

// stopsIn bounds an orderly end.
const stopsIn = 60 * time.Second

// stop ends it as it should.
func (p *workProcess) stop() error {
	p.input.Close()
	limit := time.NewTimer(stopsIn)
	defer limit.Stop()
	select {
	case <-p.ended:
	case <-limit.C:
		return errors.New("stop the daemon: it does not end: " + p.words())
	}
	if p.err != nil {
		return fmt.Errorf("stop the daemon: %w: %s", p.err, p.said.String())
	}
	return nil
}

// kill ends it without warning; what it wrote stays with the kernel.
func (p *workProcess) kill() {
	p.once.Do(func() {
		_ = p.cmd.Process.Kill() // it may have ended by itself
		<-p.ended
	})
}

// hold does something while the daemon's time stands still: both share few processors.
// The process itself goes on, else its connections would be lost.
func (p *workProcess) hold(do func() error) error {
	if _, err := p.input.Write([]byte{pauseWord}); err != nil {
		return fmt.Errorf("pause the daemon: %w: %s", err, p.words())
	}
	if err := do(); err != nil {
		return err
	}
	if _, err := p.input.Write([]byte{goOnWord}); err != nil {
		return fmt.Errorf("let the daemon go on: %w: %s", err, p.words())
	}
	return nil
}

// swallowSyncs makes every sync of this process succeed and do nothing: a daemon that
// forgot them. A filter of system calls (seccomp(2)) answers in the kernel's place.
func swallowSyncs() error {
	calls := []uint32{unix.SYS_FSYNC, unix.SYS_FDATASYNC, unix.SYS_MSYNC, unix.SYS_SYNC, unix.SYS_SYNCFS, unix.SYS_SYNC_FILE_RANGE}
	program := []unix.SockFilter{{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: 0}}
	for i, call := range calls {
		program = append(program, unix.SockFilter{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, Jt: uint8(len(calls) - i), K: call})
	}
	program = append(program,
		unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_ALLOW},
		unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_ERRNO})
	prog := unix.SockFprog{Len: uint16(len(program)), Filter: &program[0]}
	_, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_TSYNC, uintptr(unsafe.Pointer(&prog)))
	if errno != 0 {
		return fmt.Errorf("filter system calls: %w", errno)
	}
	return nil
}
