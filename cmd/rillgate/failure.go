package main

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
)

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitMisuse = 2
)

// failure is an error that knows its exit code and what can be done.
type failure struct {
	err  error
	hint string
	code int
}

func (f *failure) Error() string { return f.err.Error() }
func (f *failure) Unwrap() error { return f.err }

// misuse is wrong use of a command.
func misuse(format string, args ...any) error {
	return &failure{err: fmt.Errorf(format, args...), code: exitMisuse}
}

// failed is a command that did not work; hint may be "".
func failed(err error, hint string) error {
	return &failure{err: err, hint: hint, code: exitFailed}
}

// errQuiet ends a command with code 1 after it has said everything itself.
var errQuiet = errors.New("said already")

// job makes a cobra function of f: what f returns is a failure of the work, and
// whatever cobra itself finds before it is wrong use.
func job(f func(cmd *cobra.Command, args []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		// An empty variable of a script must not mean "all", unless all is to close.
		if slices.Contains(args, "") && cmd.Name() != "stop" {
			return misuse("an argument is empty: say a name, or leave it out")
		}
		err := f(cmd, args)
		var known *failure
		if err == nil || errors.As(err, &known) {
			return err
		}
		var refused *operator.Refusal
		if errors.As(err, &refused) {
			return failed(err, refused.Hint)
		}
		return failed(err, "")
	}
}

// report writes the error of a command, if any, and gives the exit code.
func report(err error, root *cobra.Command, errs io.Writer) int {
	if err == nil {
		return exitDone
	}
	if errors.Is(err, errQuiet) {
		return exitFailed
	}
	var f *failure
	if !errors.As(err, &f) {
		f = &failure{err: err, code: exitMisuse}
	}
	if f.code == exitMisuse && f.hint == "" {
		f.hint = "run `" + root.Name() + " --help`, or `--help` after the command"
	}
	fmt.Fprintf(errs, "error: %v\n", f.err)
	if f.hint != "" {
		fmt.Fprintf(errs, "hint: %s\n", f.hint)
	}
	return f.code
}
